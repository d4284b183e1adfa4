// Opens pages in the installed browser and says what is wrong with them. In: a JSON list of {"file", "pdf",
// "rules"}, the last for those of accessibility. Out: on standard output a JSON list of findings, one for each.
import {readFileSync} from 'node:fs';
import axe from 'axe-core';
import {HtmlValidate} from 'html-validate';
import puppeteer from 'puppeteer-core';

const WIDTHS = [360, 768, 820, 1200];
const A4_INSIDE = 718; // pixels: 190 mm
const validate = new HtmlValidate({extends: ['html-validate:standard']});
const asked = JSON.parse(readFileSync(0, 'utf8'));
const browser = await puppeteer.launch({
  executablePath: process.env.BROWSER_PATH, headless: true, args: ['--no-sandbox', '--disable-gpu'],
});

// Texts that stand over one another, or outside what holds them.
function layout() {
  const found = [];
  const texts = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const parent = node.parentElement;
    if (!node.data.trim() || parent.closest('.over, title, thead')) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    for (const rect of range.getClientRects()) {
      if (rect.width < 1 || rect.height < 1) continue;
      texts.push({node, text: node.data.trim().slice(0, 30), rect});
      const holder = parent.closest('svg, td, th, .label, dd, dt, article, section, body').getBoundingClientRect();
      const page = document.documentElement.clientWidth + 1;
      if (rect.left < holder.left - 1 || rect.right > Math.min(page, holder.right + 1) || rect.bottom > holder.bottom + 3)
        found.push(`outside: ${node.data.trim().slice(0, 40)}`);
    }
  }
  texts.sort((a, b) => a.rect.top - b.rect.top);
  for (let i = 0; i < texts.length; i++)
    for (let j = i + 1; j < texts.length && texts[j].rect.top < texts[i].rect.bottom; j++) {
      const [a, b] = [texts[i].rect, texts[j].rect];
      const across = Math.min(a.right, b.right) - Math.max(a.left, b.left);
      const down = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
      if (texts[i].node !== texts[j].node && across > 1 && down > 0.3 * Math.min(a.height, b.height))
        found.push(`over one another: ${texts[i].text} / ${texts[j].text}`);
    }
  const boxes = (element) => {
    const range = document.createRange();
    range.selectNodeContents(element);
    return [...range.getClientRects()].filter((rect) => rect.width >= 1 && rect.height >= 1);
  };
  for (const term of document.querySelectorAll('.block dl > div > dt'))
    for (const a of boxes(term))
      for (const b of boxes(term.nextElementSibling))
        if (Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 2 && b.left - a.right < 3)
          found.push(`too close: ${term.textContent} / ${term.nextElementSibling.textContent.slice(0, 20)}`);
  const pen = document.createElement('canvas').getContext('2d');
  for (const digit of document.querySelectorAll('u')) {
    const style = getComputedStyle(digit);
    pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
    const {fontBoundingBoxAscent: up, fontBoundingBoxDescent: down} = pen.measureText('6');
    const line = parseFloat(getComputedStyle(digit.parentElement).lineHeight);
    const room = down + (line - up - down) / 2;
    if (!(parseFloat(style.textUnderlineOffset) + parseFloat(style.textDecorationThickness) <= room - 0.5))
      found.push(`the line under ${digit.textContent} touches what is below: ${digit.parentElement.textContent}`);
  }
  for (const line of document.querySelectorAll('.strips')) {
    const word = [...line.querySelectorAll('.end')].at(-1).getBoundingClientRect();
    const strip = [...line.querySelectorAll('svg')].at(-1).getBoundingClientRect();
    if (word.top >= strip.bottom || word.left < strip.right - 1) found.push('flywheel is not at the end of its line');
  }
  for (const way of document.querySelectorAll('.ways tbody th'))
    if (way.textContent.length < 10 && boxes(way).length > 1) found.push(`squeezed: ${way.textContent}`);
  if (document.documentElement.scrollWidth > document.documentElement.clientWidth) found.push('wider than the window');
  return found;
}

async function accessible(page) {
  await page.evaluate(axe.source);
  const {violations, incomplete} = await page.evaluate(() => window.axe.run(document, {resultTypes: ['violations', 'incomplete']}));
  const told = violations.map((v) => `${v.id}: ${v.nodes[0].html}`);
  // It cannot see what is behind the text of a drawing.
  const unsure = incomplete.filter((v) => v.id === 'color-contrast').flatMap((v) => v.nodes).filter((n) => !n.html.startsWith('<text'));
  return told.concat(unsure.map((n) => `unsure of contrast: ${n.html}`));
}

const answers = [];
for (const {file, pdf, rules} of asked) {
  const answer = {said: [], requests: [], layout: {}, accessibility: [], invalid: [], smallest_pt: null, labels_over: 0, letters_pt: null, colours: []};
  const page = await browser.newPage();
  const own = `file://${file}`;
  page.on('console', (message) => answer.said.push(message.text()));
  page.on('pageerror', (error) => answer.said.push(String(error)));
  page.on('dialog', async (dialog) => { answer.said.push(`dialog: ${dialog.message()}`); await dialog.dismiss(); });
  page.on('request', (request) => { if (request.url() !== own && request.url() !== 'data:,') answer.requests.push(request.url()); });
  for (const scheme of ['light', 'dark']) {
    await page.emulateMediaFeatures([{name: 'prefers-color-scheme', value: scheme}]);
    for (const width of scheme === 'light' ? WIDTHS : WIDTHS.slice(-1)) {
      await page.setViewport({width, height: 900});
      await page.goto(own);
      answer.layout[`${width} ${scheme}`] = await page.evaluate(layout);
    }
    answer.colours.push(await page.evaluate(() => getComputedStyle(document.body).backgroundColor));
    if (rules) answer.accessibility.push(...await accessible(page));
  }
  await page.setViewport({width: A4_INSIDE, height: 900});
  await page.emulateMediaType('print');
  answer.layout.print = await page.evaluate(layout);
  answer.smallest_pt = await page.evaluate(() => Math.min(...[...document.querySelectorAll('.block .shell')]
    .map((shell) => parseFloat(getComputedStyle(shell).fontSize) * 0.75)));
  // By how many pixels the tallest label to cut out is taller than was asked for.
  answer.labels_over = await page.evaluate(() => Math.max(0, ...[...document.querySelectorAll('.label')]
    .map((label) => label.getBoundingClientRect().height - parseFloat(getComputedStyle(label).minHeight))));
  answer.letters_pt = await page.evaluate(() => Math.min(...[...document.querySelectorAll('.label')]
    .map((label) => parseFloat(getComputedStyle(label).fontSize) * 0.75)));
  answer.colours.push(await page.evaluate(() => getComputedStyle(document.body).backgroundColor));
  await page.emulateMediaType(null);
  for (const format of ['A4', 'Letter'])
    if (pdf) await page.pdf({path: `${pdf}-${format}.pdf`, format, printBackground: false});
  for (const result of (await validate.validateString(readFileSync(file, 'utf8'))).results)
    answer.invalid.push(...result.messages.map((m) => `${m.line}: ${m.ruleId}: ${m.message}`));
  await page.close();
  answers.push(answer);
}
await browser.close();
console.log(JSON.stringify(answers));
