"""Ways to damage the files of a job, all by one seeded random source: bytes, lines, cells, TOML, sheets, archives."""

import io
import re
import warnings
import zipfile
from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from random import Random
from typing import Any

from made.fuzz_jobs import Files
from openpyxl import load_workbook

# --- what is put in --------------------------------------------------------------------------------------------------

# fmt: off
NASTY_CELLS = [
    "", " ", "0", "-0", "+", "-", ".", "..", "...", "\u2026", "1.", ".5", "5e", "e5", "1e-3", "1E+3", "1e0003",
    "1e999", "1e-999", "1e9999", "9" * 1000, "9" * 1001, "0." + "0" * 980 + "1", "0" * 900 + "1", "nan", "NaN",
    "inf", "-Infinity", "0x1F", "1_000", "1,816", "1 816", "1'816.2", "1.816,2", "1,816.2", "1,8162", ",5", "5,",
    "1,2,3", "1.2.3", "--1", "+-1", "1/2", "\uff11.\uff18", "\u0661\u0662", "\u00b2", "\u00bd", "\u22121",
    "1\u00a0mm", "50\u2009mm", "1.8162\u200b", "l.8162", "1.8l62", "O.06", "61.8 thou", "618 tenths", "62 mil",
    "1.5708 mm", "1570.8 um", "1570.8 \u00b5m", "1570.8\u03bcm", "1570800 \u039cM", "0.0618IN", "46.1 MM",
    "0.0618 furlong", "0.0618 in in", '0.0618"', "5 mm 3", "90000 \u039cm", "9e9 um", "1e3um", "1e3 thou", "12em",
    "5\u212a", "1m", "1 tenth", "=1+1", "=A1", "#DIV/0!", "2024-01-02", "1/2/24", "12:30", "TRUE", "yes", "any",
    "ANY", "-", "n/a", "upper", "EITHER", "wall", "box/1", "/", "a/b/c", "box-1/", '"', '""', 'a"b', "\0", "\ufeff",
    "=1", "+1", "-R1", "@a", "e\u0301", "\u00e9",
    "\u202e", "\u2028", "\x85", "\x1b[31m", "\r", "a\rb", "x" * 201, "\u0130", "\u00df", "\ud7ff", "\U0001f600",
    "R1", "rod", "mic", "-360.0", "360", "185", "999", "1000", "00000000001",
]
ENDINGS = [
    "", " in", "in", "mm", " mm", " um", "\u00b5m", " \u03bcm", " THOU", " tenths", " mil", "e0", "e-1", "E+1",
    "e003", "e0000", "00", "000001", "49999999",
]
SCRAPS = [
    b'"', b",", b";", b"\t", b"\n", b"\r", b"\r\n", b"\0", b"/", b".", b"..", b"-", b"0", b"=", b"#", b"'", b"_1",
    b"\\", b"e5", b"[", b"]", b"{", b"}", b'"""', b"'''", b"nan", b"1e999", b"true", b"1979-05-27", b"\xff",
    b"\xc3", b"\xed\xa0\x80", b"\xef\xbb\xbf", b"[fit]\n", b"[[fit]]\n", b"[[fit.rod]]\n", b"\nunit = 1\n",
    b'unit = "mm"\n', b"[mm]", b"[in]", b"any", b"box/", b'"wa\nll"',
]
NASTY_TOML = [
    "nan", "inf", "-inf", "1e999", "1e-999", "0.0", "-0.0", "true", "[]", "{}", '""', '" "', "0x1F", "0o7", "0b1",
    "1_000", "1.0_1", "+1", "1.", ".5", "00.1", "1979-05-27", "07:32:00", "1979-05-27T07:32:00Z", '"off"', '"same"',
    '"any"', '"nan"', '"1..2"', '".."', '"a..b"', '"1...2"', "[[]]", '["a", 1]', '["a", "a"]', '[""]',
    '{ rod = "upper" }', "{ a.b.c = 1 }", '"../x.csv"', '"/etc/passwd"', '"a\\\\b.csv"', '"\\u0000.csv"',
    '"job.toml"', '"**/**/**/*.csv"', '["**/*.csv"]', '["[*.csv"]', '["[!a]*.xlsx"]', '["shells"]',
    '["positions.csv"]', '"' + "a" * 5000 + '.csv"', '["' + "*/" * 60 + '*.csv"]', '"0.5 thou"', '"0,5 thou"',
    '"5 \\u039cM"', '"1e3 um"', '"12 um"', '"mic"', '"steel"', '"tightest"', '["series"]', '["wall"]',
    '["finish_upper"]', "9" * 4000, "9" * 5000, "0x" + "f" * 20_000, "0." + "3" * 999, "0." + "3" * 1001, "-1",
    "0.0022", "0.05", '"2.2 thou"', '"50 um"', "2.2e-3", '"\\u202e"', '"\\n"',
]
VALUES: list[Any] = [
    float("nan"), float("inf"), -0.0, 1e300, 1e-300, 5e-324, 0.1 + 0.2, 3.0, 0.06185, 10**15, 10**300, -1, True,
    False, None, date(2024, 1, 2), datetime(2024, 1, 2, 3, 4), time(1, 2), timedelta(hours=30), "=1+1", "=A1",
    "#N/A", "#DIV/0!", " ", "x" * 32_000, "_x0000_", "_x000D_", "a\nb", "\t", "\u202e",
    *(cell for cell in NASTY_CELLS if cell.isprintable()),
]
FILLERS = [
    " ", "9", "0", "a", "(", "[", "]", '"', '""', "'", "_1", ".", ",", ";", "\t", "\n", "o", "-", "a.", "\u00e4",
    "\\", "=", '"a" ', "x\n", "e9",
]
# fmt: on


# --- text files ------------------------------------------------------------------------------------------------------


def flip(data: bytes, rng: Random) -> bytes:
    """Another bit in a byte."""
    place = rng.randrange(len(data))
    return data[:place] + bytes([data[place] ^ 1 << rng.randrange(8)]) + data[place + 1 :]


def insert(data: bytes, rng: Random) -> bytes:
    """A scrap or any byte, in place of up to twelve others."""
    place = rng.randrange(len(data) + 1)
    scrap = rng.choice(SCRAPS) if rng.random() < 0.7 else rng.randbytes(1)
    return data[:place] + scrap + data[place + rng.choice((0, 0, 1, rng.randrange(12))) :]


def delete(data: bytes, rng: Random) -> bytes:
    """A stretch less."""
    place = rng.randrange(len(data))
    return data[:place] + data[place + rng.choice((1, 2, rng.randrange(1, 60))) :]


def cut(data: bytes, rng: Random) -> bytes:
    """A file that ends early, as torn ones do."""
    return data[: rng.randrange(len(data))]


def shuffle_lines(data: bytes, rng: Random) -> bytes:
    """Lines swapped, doubled, lost or joined."""
    lines = data.splitlines(keepends=True)
    one, other = rng.randrange(len(lines)), rng.randrange(len(lines))
    what = rng.randrange(5)
    if what == 0:
        lines[one], lines[other] = lines[other], lines[one]
    elif what == 1:
        lines.insert(other, lines[one])
    elif what == 2:
        del lines[one]
    elif what == 3:
        lines[one] = lines[one].rstrip(b"\r\n")
    else:
        lines.insert(one, rng.choice((b"\n", b",,,\n", b" \n", b"sep=;\n", b"A title\n")))
    return b"".join(lines)


def recode(data: bytes, rng: Random) -> bytes:
    """Another encoding, a mark at the start, or other line ends."""
    text = data.decode("utf-8", "replace")
    what = rng.randrange(6)
    if what == 0:
        return text.encode(rng.choice(("utf-16", "utf-16-le", "utf-16-be", "utf-32")))
    if what == 1:
        return text.replace("um", "\u00b5m").encode("latin-1", "replace")
    if what == 2:
        return b"\xef\xbb\xbf" + data
    return re.sub(rb"\r\n|\n", rng.choice((b"\r", b"\r\n", b"\n\n", b"\n\r")), data)


def grow(data: bytes, rng: Random) -> bytes:
    """A filler repeated very often, or a line over and over."""
    many = rng.choice((10, 300, 3_000, 40_000))
    if rng.random() < 0.3:
        lines = data.splitlines(keepends=True)
        line = rng.choice(lines)
        return data + line * (many // 10)
    filler = rng.choice(FILLERS).encode() * many
    place = rng.randrange(len(data) + 1)
    return data[:place] + filler + rng.choice((b"", b"x", b"!", b'"', b"=1\n")) + data[place:]


def replace_cell(data: bytes, rng: Random) -> bytes:
    """A nasty value in a cell, or the cell's number written in another way."""
    places = [m.span() for m in re.finditer(rb"[^,;\t\r\n]+", data)]
    if not places:
        return data
    start, end = rng.choice(places)
    if rng.random() < 0.6:
        numbers = [span for span in places if re.fullmatch(rb"[ +-]*[0-9.]+[ a-z]*", data[slice(*span)])]
        if numbers:
            start, end = rng.choice(numbers)
            return data[:start] + rewritten(data[start:end].decode(), rng).encode() + data[end:]
    return data[:start] + rng.choice(NASTY_CELLS).encode("utf-8", "surrogatepass") + data[end:]


def rewritten(typed: str, rng: Random) -> str:
    """A number in another form, mostly of a like size."""
    text = typed.strip()
    what = rng.randrange(9)
    digits = text.replace(".", "")
    if what == 0 and digits.isdecimal():
        places, zeros = len(text.partition(".")[2]), rng.choice((0, 0, 1, 11))
        return f"{digits}{'0' * zeros}{rng.choice('eE')}{-places - zeros}"
    if what == 1:
        return rng.choice(("+", "0", "000", " ", "\u00a0", "+0")) + text + rng.choice(("", " ", "\u00a0"))
    if what == 2 and digits.isdecimal():
        place = rng.randrange(len(text))
        return text[:place] + rng.choice("0123456789") + text[place + 1 :]
    if what == 3:
        return text.replace(".", ",")
    if what == 4 and "." in text and digits.isdecimal():
        return text + "0" * rng.randrange(4) + rng.choice(("5", "49999", "50000001", "25", "75", ""))
    if what == 5 and digits.isdecimal():
        unit, factor = rng.choice((("mm", 25.4), ("thou", 1000), ("um", 25_400), ("tenths", 10_000), ("um", 1000)))
        return f"{float(text) * factor:.{rng.randrange(1, 8)}f}{rng.choice((' ', ''))}{unit}"
    if what == 6:
        return text.lstrip("0")
    if what == 7 and "." in text and digits.isdecimal():  # a nanometre in millimetres, or half of one
        before, _, behind = text.partition(".")
        return f"{before}.{behind:0<6}"[:-1] + rng.choice(("1", "05", "15", "25")) + rng.choice(("", "", " mm"))
    return text + rng.choice(ENDINGS)


def end_early(data: bytes, rng: Random) -> bytes:
    """Cells lost from the end of some rows, blank ones or not."""
    lines = data.split(b"\n")
    for at in rng.sample(range(len(lines)), min(len(lines), rng.choice((1, 1, 3)))):
        separator = max((b",", b";", b"\t"), key=lines[at].count)
        cells = lines[at].rstrip(b"\r").split(separator)
        lines[at] = separator.join(cells[: max(1, len(cells) - rng.choice((1, 1, 2, 3)))])
    return b"\n".join(lines)


def exchange_separators(data: bytes, rng: Random) -> bytes:
    """Another separator throughout, with points or with decimal commas."""
    new = rng.choice((b",", b";", b"\t", b"|", b"; "))
    if rng.random() < 0.5:
        return data.replace(rng.choice((b",", b";", b"\t")), new)
    return data.replace(b",", new).replace(b".", b",") if new != b"," else data.replace(b".", b",")


# --- job.toml --------------------------------------------------------------------------------------------------------


def toml_value(data: bytes, rng: Random) -> bytes:
    """A nasty value behind a key, or a number there in another form."""
    values = list(re.finditer(rb"(?<==)[ \t]*([^#\n]+?)[ \t]*(?=#|\n|$)", data))
    if not values:
        return data
    start, end = rng.choice(values).span(1)
    old = data[start:end].decode("utf-8", "replace")
    new = rewritten(old, rng) if rng.random() < 0.4 and re.fullmatch("[0-9.]+", old) else rng.choice(NASTY_TOML)
    if new[-1:].isalpha() and new[:1].isdecimal() and rng.random() < 0.7:
        new = f'"{new}"'
    return data[:start] + b" " + new.encode() + data[end:]


def toml_key(data: bytes, rng: Random) -> bytes:
    """A key or a table's name with something else in it."""
    keys = list(re.finditer(rb"^[ \t]*\[*([\w. \"-]+)", data, re.MULTILINE))
    if not keys:
        return data
    start, end = rng.choice(keys).span(1)
    new = rng.choice(
        (
            b"fit",
            b"fit.rod",
            b"a",
            b'"a b"',
            b'""',
            b"'/'",
            b'"\\n"',
            b"unit",
            b"target",
            b"rod",
            b"x" * 300,
            b"a." * 40 + b"a",
        )
    )
    old = data[start:end]
    leaf = old[: old.rfind(b".") + 1] + new
    return data[:start] + rng.choice((new, leaf, old + b"." + new, old.upper())) + data[end:]


def toml_depth(data: bytes, rng: Random) -> bytes:
    """Lists, tables or dotted keys nested deeply; long lists over many lines; gauges set with one another."""
    deep = rng.choice((3, 30, 300, rng.randrange(100, 600), 3_000))
    what = rng.randrange(7)
    if what == 0:
        more = b"x = " + b"[" * deep + b"]" * deep
    elif what == 1:
        more = b"x = " + b"{a=" * deep + b"1" + b"}" * deep
    elif what == 2:
        more = b"[" + b"a." * deep + b"a]\nb = 1"
    elif what == 3:
        more = b"a." * deep + b"a = 1"
    elif what == 4:
        more = b"x = [\n" + b'"[", # {\n' * deep + b"]\nzz = 1"
    elif what == 5:
        ring = min(deep, 300)
        more = b"".join(b"[gauge.g%d]\nset_with = 'g%d'\n" % (i, (i + 1) % ring) for i in range(ring))
    else:
        more = b"".join(b"k%d = %d\n" % (i, i) for i in range(deep))
    return more + b"\n" + data if rng.random() < 0.5 else data + b"\n" + more + b"\n"


# --- workbooks -------------------------------------------------------------------------------------------------------


def sheet_cell(data: bytes, rng: Random) -> bytes:
    """A nasty value in a cell, near or far away, or another sheet."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book = load_workbook(io.BytesIO(data))
    sheet = book.worksheets[0]
    for _ in range(rng.randrange(1, 4)):
        row, column = rng.randrange(1, sheet.max_row + 1), rng.randrange(1, sheet.max_column + 1)
        value = rng.choice(VALUES)
        old = sheet.cell(row, column).value
        if isinstance(old, float) and rng.random() < 0.5:
            value = rewritten(repr(old), rng) if rng.random() < 0.5 else old * rng.choice((1 + 1e-9, 1.01, 1000, 25.4))
        what = rng.random()
        if what < 0.06:
            row = rng.choice((sheet.max_row + 3, 5_000, 1_048_576))
        elif what < 0.12:
            column = rng.choice((sheet.max_column + 2, 300, 16_384))
        elif what < 0.16:
            book.create_sheet(rng.choice(("Other", "\u202e"))).append(rng.choice(([], ["note"], [1, 2, 3])))
        if isinstance(value, str):
            value = re.sub("[\x00-\x08\x0b\x0c\x0e-\x1f]", "?", value)
        sheet.cell(row, column).value = value
        if rng.random() < 0.05:
            sheet.cell(row, column).number_format = "yyyy-mm-dd"
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


# fmt: off
XML_SCRAPS = [
    b"<v>", b"</v>", b"<c>", b"<row/>", b"</row>", b"&lt;", b"&#0;", b"&#x10FFFF;", b"&b;", b"<!--", b"<![CDATA[",
    b"]]>", b"<?x?>", b'r="XFD1048576"', b'r="A1"', b'r="ZZZ9"', b'r="A0"', b'r="999999999"', b'r="A999999999"',
    b'r="1"', b't="s"', b't="d"', b't="e"', b't="b"', b't="inlineStr"', b"<is><t>1</t></is>", b"<f>1+1</f>",
    b'<f t="shared" si="0"/>', b"<v>1_0</v>", b"<v>-1</v>", b"<v>99999</v>", b"<v>1e999</v>",
    b'<dimension ref="A1:XFD1048576"/>', b'<dimension ref="B9:A1"/>', b"\xff", b"\0", b"9" * 5000, b' s="99"',
]
# fmt: on
LAUGHS = (
    b'<?xml version="1.0"?><!DOCTYPE l [<!ENTITY a "ha">'
    + b"".join(b'<!ENTITY %c "%s">' % (98 + i, b"&%c;" % (97 + i) * 10) for i in range(9))
    + b"]>"
)


def sheet_xml(data: bytes, rng: Random) -> bytes:
    """A part of the archive changed as text and packed again, so that its checksum holds."""
    parts = unpacked(data)
    if not parts:
        return data
    name = rng.choice([n for n in parts if "sheet" in n] if rng.random() < 0.7 else list(parts))
    for _ in range(rng.randrange(1, 3)):
        part = parts[name]
        what = rng.randrange(5)
        if what == 0 and part:
            part = flip(part, rng)
        elif what == 1:
            numbers = list(re.finditer(rb"(?<=[>\"])[A-Z]?[0-9.]+(?=[<\"])", part))
            if numbers:
                start, end = rng.choice(numbers).span()
                new = rng.choice(
                    (
                        b"A1",
                        b"C2",
                        b"2",
                        b"1",
                        b"0",
                        b"-1",
                        b"16384",
                        b"2000000",
                        b"1_0",
                        b"nan",
                        b"0.0619",
                        b" 3 ",
                        b"",
                    )
                )
                part = part[:start] + new + part[end:]
        else:
            tags = [m.start() for m in re.finditer(rb"[< ](?=[a-z/])", part)]
            place = rng.choice(tags) if tags else 0
            scrap = rng.choice(XML_SCRAPS)
            part = (
                part[:place]
                + (b" " + scrap if part[place : place + 1] == b" " else scrap)
                + part[place + rng.choice((0, 0, 5)) :]
            )
        parts[name] = part
    return packed(parts)


def sheet_bomb(data: bytes, rng: Random) -> bytes:
    """A small archive that unpacks to much: blanks, rows, entities, cells far to the right, a long text."""
    parts = unpacked(data)
    sheets = [n for n in parts if n.startswith("xl/worksheets/") and n.endswith(".xml")]
    if not sheets:
        return data
    name, many = sheets[0], rng.choice((1_000, 20_000, 200_000))
    inside = {
        0: b" " * many * 100,
        1: b"<row/>" * many,
        2: b'<row><c r="XFD1"><v>1</v></c></row>' * (many // 50),
        3: b'<row r="2000000"><c t="str"><v>a</v></c></row>',
        4: b'<row r="1048576"><c t="str"><v>a</v></c></row>',
        5: b'<row><c t="str"><v>' + b"a" * many * 10 + b"</v></c></row>",
        6: b"<x>" * many + b"</x>" * many,
        7: b"<row>" + b"<c/>" * many + b"</row>",
        8: b'<row><c t="str"><v>&j;</v></c></row>',
    }[rng.choice((0, 0, 1, 1, 2, 3, 4, 5, 5, 6, 6, 7, 7, 8, 8))]  # 3 and 4 take a second each
    part = parts[name]
    start = part.find(b"</sheetData>")
    head = LAUGHS if b"&j;" in inside else b""
    parts[name] = head + (part[:start] + inside + part[start:] if start >= 0 else inside)
    if rng.random() < 0.2:
        parts["xl/sharedStrings.xml"] = parts.get("xl/sharedStrings.xml", b"").replace(
            b"<si>", b"<si><t>x</t></si>" * many + b"<si>", 1
        )
    return packed(parts)


def unpacked(data: bytes) -> Files:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return {name: archive.read(name) for name in archive.namelist()}
    except Exception:  # damaged already
        return {}


def packed(parts: Files) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, part in parts.items():
            archive.writestr(name, part)
    return out.getvalue()


# --- all together ----------------------------------------------------------------------------------------------------

Damage = Callable[[bytes, Random], bytes]
BYTES: list[Damage] = [flip, insert, insert, delete, cut]
TABLE: list[Damage] = [
    *BYTES,
    shuffle_lines,
    shuffle_lines,
    recode,
    grow,
    exchange_separators,
    end_early,
    *[replace_cell] * 8,
]
TOML: list[Damage] = [*BYTES, shuffle_lines, shuffle_lines, recode, grow, toml_key, toml_depth, *[toml_value] * 6]
SHEET: list[Damage] = [flip, insert, delete, cut, sheet_bomb, *[sheet_xml] * 5, *[sheet_cell] * 6]


def damaged(sound: Files, rng: Random) -> Files:
    """A job with one to three things wrong with it, or with none: some damage does no harm."""
    files = dict(sound)
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        name = rng.choice(list(files))
        if rng.random() < 0.03:
            _misplace(files, name, rng)
            continue
        ways = SHEET if name.endswith(".xlsx") else TOML if name.endswith(".toml") else TABLE
        if not files[name]:
            continue
        try:
            files[name] = rng.choice(ways)(files[name], rng)
        except Exception:
            if not name.endswith(".xlsx"):  # a workbook that is damaged already cannot be opened to damage it more
                raise
    return files


def _misplace(files: Files, name: str, rng: Random) -> None:
    """A file lost, emptied, swapped with another or copied."""
    what, other = rng.randrange(4), rng.choice(list(files))
    if what == 0 and len(files) > 1:
        del files[name]
    elif what == 1:
        files[name] = rng.choice((b"", b"\n", b"\xef\xbb\xbf", b",,\n"))
    elif what == 2:
        files[name], files[other] = files[other], files[name]
    else:
        files[
            rng.choice(("shells/copy.csv", "shells/.hidden.csv", "shells/~$lock.xlsx", "shells/1/2.csv", "x.xlsx"))
        ] = files[name]
