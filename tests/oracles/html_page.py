"""A page of HTML as a tree, read strictly: every element that is opened is closed, in order."""

from collections.abc import Iterator
from html.parser import HTMLParser

EMPTY = frozenset(("meta", "link", "input", "img", "br", "hr", "circle", "path"))


class Element:
    """One element with what is inside it, in order."""

    def __init__(self, tag: str, attributes: dict[str, str], line: int) -> None:
        self.tag, self.attributes, self.line = tag, attributes, line
        self.inside: list[Element | str] = []

    def __getitem__(self, name: str) -> str:
        return self.attributes[name]

    @property
    def classes(self) -> list[str]:
        return self.attributes.get("class", "").split()

    def all(self, tag: str = "", *, cls: str = "") -> "Iterator[Element]":
        """Every element of this tag and class inside, in order."""
        for one in self.inside:
            if isinstance(one, Element):
                if tag in ("", one.tag) and (not cls or cls in one.classes):
                    yield one
                yield from one.all(tag, cls=cls)

    @property
    def text(self) -> str:
        """All its text, spaces run together."""
        return " ".join("".join(self._texts()).split())

    def _texts(self) -> Iterator[str]:
        for one in self.inside:
            if isinstance(one, str):
                yield one
            elif one.tag not in ("style", "script"):
                yield from one._texts()


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.open = [Element("", {}, 0)]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert len({name for name, _ in attrs}) == len(attrs), f"line {self.getpos()[0]}: an attribute twice"
        element = Element(tag, {name: value or "" for name, value in attrs}, self.getpos()[0])
        self.open[-1].inside.append(element)
        if tag not in EMPTY:
            self.open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in EMPTY:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert tag not in EMPTY and self.open[-1].tag == tag, f"line {self.getpos()[0]}: </{tag}>"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        self.open[-1].inside.append(data)

    def handle_comment(self, data: str) -> None:
        raise AssertionError(f"line {self.getpos()[0]}: a comment")

    def unknown_decl(self, data: str) -> None:
        raise AssertionError(f"line {self.getpos()[0]}: {data}")


def page_of(html: str) -> Element:
    """The root of a page; an AssertionError where it is not well formed."""
    reader = _Reader()
    reader.feed(html)
    reader.close()
    assert [one.tag for one in reader.open] == [""], "an element is not closed"
    return reader.open[0]
