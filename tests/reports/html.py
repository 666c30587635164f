"""Reads a published site back: its documents, links, anchors and numbers, with the standard library only."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urldefrag

BLOCKS = frozenset({"td", "th", "dt", "dd", "li", "p", "h1", "h2", "h3", "caption", "summary"})
"""Elements whose text does not run on into the next."""


@dataclass
class Document:
    """What the tests ask of one page."""

    path: Path
    links: list[tuple[str, str]] = field(default_factory=list)
    anchors: list[str] = field(default_factory=list)
    tags: list[tuple[str, dict[str, str | None]]] = field(default_factory=list)
    values: list[str] = field(default_factory=list)
    text: str = ""


class _Reader(HTMLParser):
    def __init__(self, document: Document) -> None:
        super().__init__(convert_charrefs=True)
        self.document = document
        self._silent = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = dict(attrs)
        self.document.tags.append((tag, values))
        for name in ("href", "src"):
            if values.get(name) is not None:
                self.document.links.append((tag, values[name] or ""))
        if values.get("id"):
            self.document.anchors.append(values["id"] or "")
        if tag == "data":
            self.document.values.append(values["value"] or "")
        if tag == "br":
            self.document.text += " "
        self._silent += tag in {"script", "style"}

    def handle_endtag(self, tag: str) -> None:
        self._silent -= tag in {"script", "style"}
        if tag in BLOCKS:
            self.document.text += " "

    def handle_data(self, data: str) -> None:
        if not self._silent:
            self.document.text += data


def read_document(path: Path) -> Document:
    """Return the parsed page."""
    document = Document(path)
    reader = _Reader(document)
    reader.feed(path.read_text("utf-8"))
    reader.close()
    return document


def read_site(folder: Path) -> dict[Path, Document]:
    """Return every page below a dashboards folder by its path."""
    return {path: read_document(path) for path in sorted(folder.rglob("*.html"))}


def target_of(document: Document, link: str) -> tuple[Path, str]:
    """Return the file and fragment that a relative link of the page points to."""
    address, fragment = urldefrag(link)
    return ((document.path.parent / unquote(address)).resolve() if address else document.path.resolve()), fragment


VOID = frozenset({"meta", "link", "br", "input", "img", "hr"})
SELF_CLOSED = frozenset({"rect", "circle", "path"})
"""SVG shapes that the pages write as empty elements."""


class _Nesting(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.wrong: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in VOID | SELF_CLOSED:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in VOID | SELF_CLOSED:
            self.wrong.append(f"<{tag}/>")

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open.pop() != tag:
            self.wrong.append(f"</{tag}> at {self.getpos()}")


def unclosed(text: str) -> list[str]:
    """Return the tags of a document that are not closed, or not in order."""
    reader = _Nesting()
    reader.feed(text)
    reader.close()
    return reader.wrong + reader.open


@dataclass
class Table:
    """One table of a page: the id of the heading it stands under, its column heads and the text of its cells."""

    under: str
    heads: list[str] = field(default_factory=list)
    rows: list[list[str]] = field(default_factory=list)


class _Tables(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.tables: list[Table] = []
        self._under = ""
        self._part = ""
        self._cell: list[str] | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = dict(attrs)
        if tag in {"h1", "h2", "h3"} and values.get("id"):
            self._under = values["id"] or ""
        elif tag == "table":
            self.tables.append(Table(self._under))
        elif tag in {"thead", "tbody"}:
            self._part = tag
        elif tag == "tr" and self._part == "tbody":
            self.tables[-1].rows.append([])
        elif tag in {"td", "th"}:
            self._cell = []
        elif tag == "br" and self._cell is not None:
            self._cell.append(" ")

    def handle_endtag(self, tag: str) -> None:
        if tag in {"td", "th"} and self._cell is not None:
            text = " ".join("".join(self._cell).split())
            (self.tables[-1].heads if self._part == "thead" else self.tables[-1].rows[-1]).append(text)
            self._cell = None
        elif tag == "table":
            self._part = ""

    def handle_data(self, data: str) -> None:
        if self._cell is not None:
            self._cell.append(data)


def read_tables(path: Path) -> list[Table]:
    """Return every table of a page, in its order."""
    reader = _Tables()
    reader.feed(path.read_text("utf-8"))
    reader.close()
    return reader.tables
