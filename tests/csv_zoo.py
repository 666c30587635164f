"""A zoo of made CSV files: every dialect with every fault, and cell by cell what a reader must make of it."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field, replace

HEADER = ("Ticket", "Unit", "Visit date", "Technician", "Outdoor", "Herm", "Fan", "Remarks")


@dataclass(frozen=True)
class Style:
    """How a file is written; ``escape`` is empty where quotes are doubled."""

    name: str
    encoding: str = "utf-8"
    delimiter: str = ","
    quote: str = '"'
    escape: str = ""
    line_end: str = "\r\n"
    quote_all: bool = False
    decimal: str = "."

    def cell(self, text: str) -> str:
        """Return the cell as it stands in the file."""
        special = (self.delimiter, self.quote, "\n", "\r")
        if not self.quote_all and not any(mark in text for mark in special):
            return text
        if self.escape:
            inner = text.replace(self.escape, self.escape * 2).replace(self.quote, self.escape + self.quote)
        else:
            inner = text.replace(self.quote, self.quote * 2)
        return self.quote + inner + self.quote


STYLES = (
    Style("plain"),
    Style("line feeds", line_end="\n"),
    Style("byte order mark", encoding="utf-8-sig"),
    Style("spreadsheet in Europe", encoding="cp1252", delimiter=";", decimal=","),
    Style("semicolon with mark", encoding="utf-8-sig", delimiter=";", decimal=",", line_end="\n"),
    Style("utf-16 little", encoding="utf-16-le", delimiter="\t"),
    Style("utf-16 big", encoding="utf-16-be", delimiter=";", decimal=","),
    Style("utf-16 with mark", encoding="utf-16", delimiter="\t", line_end="\n"),
    Style("tab", delimiter="\t", line_end="\n"),
    Style("pipe", delimiter="|", decimal=","),
    Style("old Mac line ends", line_end="\r"),
    Style("all quoted", quote_all=True),
    Style("single quote", quote="'", quote_all=True),
    Style("single quote where needed", quote="'", delimiter=";"),
    Style("backslash", escape="\\", line_end="\n"),
    Style("quoted decimal comma", quote_all=True, decimal=","),
)


@dataclass(frozen=True)
class Item:
    """One record: what is written (``raw``, or ``cells`` in the style) and where the reader must put it.

    ``place`` is above, header, row, skipped or malformed; ``why`` the reason or rule; ``read`` the cells expected
    where they are not those written.
    """

    place: str
    cells: tuple[str, ...] = ()
    raw: str | None = None
    why: str = ""
    read: tuple[str, ...] | None = None


@dataclass(frozen=True)
class Specimen:
    """A file's bytes and the truth about it; records are (first physical line, cells)."""

    name: str
    data: bytes
    header_line: int
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    skipped: tuple[tuple[int, str], ...]
    malformed: tuple[tuple[int, str], ...]
    shown: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Fault:
    """A change to a clean file; ``fits`` says which styles can carry it."""

    name: str
    change: Callable[[list[Item], Style], list[Item]]
    fits: Callable[[Style], bool] = field(default=lambda style: True)
    line_end_last: bool = True


def clean(style: Style, count: int = 24) -> list[Item]:
    """Return a header and ``count`` rows with quoted delimiters, quotes, line breaks, blanks and umlauts."""
    draw = random.Random(2024)
    remarks = (
        "",
        "coil washed, filter new",
        'said "no cooling" twice',
        "two\nlines",
        "Kühler gereinigt; ok",
        "35/5 cap",
    )
    items = [Item("header", HEADER)]
    for n in range(count):
        reading = f"{draw.uniform(20, 60):.1f}".replace(".", style.decimal)
        fan = "" if n % 5 == 3 else f"{draw.uniform(3, 10):.2f}".replace(".", style.decimal)
        day = f"2024-{1 + n % 12:02d}-{1 + n % 28:02d}"
        cells = (f"T-{100 + n}", f"U{n % 7}", day, "A. Rowe", str(70 + n), reading, fan, remarks[n % len(remarks)])
        items.append(Item("row", cells))
    return items


def _insert(at: int, *new: Item) -> Callable[[list[Item], Style], list[Item]]:
    return lambda items, style: [*items[:at], *new, *items[at:]]


def _short(items: list[Item], style: Style) -> list[Item]:
    cells = items[5].cells[:4]
    return [*items[:5], Item("row", cells), *items[6:]]


def _long(items: list[Item], style: Style) -> list[Item]:
    return [*items[:5], Item("malformed", (*items[5].cells, "extra"), why="too-many-cells"), *items[6:]]


def _long_but_blank(items: list[Item], style: Style) -> list[Item]:
    cells = items[5].cells
    return [*items[:5], Item("row", (*cells, "", " "), read=cells), *items[6:]]


def _stray(items: list[Item], style: Style) -> list[Item]:
    cells = (*items[7].cells[:7], f"12{style.quote} duct")
    raw = style.delimiter.join(style.cell(c) for c in cells[:7]) + style.delimiter + cells[7]
    return [*items[:7], Item("row", cells, raw=raw), *items[8:]]


def _stray_in_quotes(items: list[Item], style: Style) -> list[Item]:
    q = style.quote
    cells = (*items[7].cells[:7], f"he {q}said{q} it, twice")
    raw = style.delimiter.join(style.cell(c) for c in cells[:7]) + style.delimiter + q + cells[7] + q
    return [*items[:7], Item("row", cells, raw=raw), *items[8:]]


def _open_inside(items: list[Item], style: Style) -> list[Item]:
    cells = (*items[9].cells[:3], f"{style.quote}A. Rowe", *items[9].cells[4:7], "plain")
    written = [style.cell(c) if n != 3 else c for n, c in enumerate(cells)]
    return [*items[:9], Item("row", cells, raw=style.delimiter.join(written)), *items[10:]]


def _open_at_end(items: list[Item], style: Style) -> list[Item]:
    cells = (*items[-1].cells[:7], f"{style.quote}called the customer")
    raw = style.delimiter.join(style.cell(c) for c in cells[:7]) + style.delimiter + cells[7]
    return [*items[:-1], Item("malformed", cells, raw=raw, why="open-quote")]


def _cut(items: list[Item], style: Style) -> list[Item]:
    return [*items[:-1], Item("malformed", items[-1].cells[:5], why="cut-off")]


def _zero_byte(items: list[Item], style: Style) -> list[Item]:
    return [*items[:6], Item("row", (*items[6].cells[:7], "a\x00b")), *items[7:]]


def _huge(items: list[Item], style: Style) -> list[Item]:
    return [*items[:6], Item("row", (*items[6].cells[:7], "washed, dried " * 20_000)), *items[7:]]


def _page_break(items: list[Item], style: Style) -> list[Item]:
    title = Item("above", ("Visits of the year",))
    again = (Item("skipped", title.cells, why="title"), Item("skipped", HEADER, why="repeated_header"))
    return [title, *items[:10], Item("skipped", ("",), why="blank"), *again, *items[10:]]


def _blanks(items: list[Item], style: Style) -> list[Item]:
    empty, padded = Item("skipped", ("",), why="blank"), Item("skipped", ("",) * 8, why="blank")
    return [*items[:4], empty, *items[4:], padded, padded]


def _append(*new: Item) -> Callable[[list[Item], Style], list[Item]]:
    return lambda items, style: [*items, *new]


TITLES = (Item("above", ("Visits of the year",)), Item("above", ("From: 2024-01-01",)), Item("above", ("",)))
WIDE_TITLES = (
    Item("above", ("Visits of the year", *[""] * 7)),
    Item("above", ("Printed", "2025-01-02", *[""] * 6)),
)
UNITS = Item("skipped", ("", "", "", "", "[°F]", "µF", "µF", ""), why="units")
TOTALS = Item("skipped", ("Total", "", "", "", "", "812.5", "96", ""), why="totals")
SHORT_TOTALS = Item("skipped", ("Total", "", "", "", "", "812.5"), why="totals")

FAULTS = (
    Fault("clean", lambda items, style: items),
    Fault("no line end at the end", lambda items, style: items, line_end_last=False),
    Fault("title block", _insert(0, *TITLES)),
    Fault("wide title block", _insert(0, *WIDE_TITLES)),
    Fault("units line", _insert(1, UNITS)),
    Fault("totals line", _append(TOTALS)),
    Fault("totals without line end", _append(SHORT_TOTALS), line_end_last=False),
    Fault("blank lines", _blanks),
    Fault("repeated header", _insert(9, Item("skipped", HEADER, why="repeated_header"))),
    Fault("page break", _page_break),
    Fault("short row", _short),
    Fault("long row", _long),
    Fault("long row, blank at its end", _long_but_blank),
    Fault("quote inside a bare cell", _stray, fits=lambda style: not style.escape),
    Fault("quotes not doubled", _stray_in_quotes, fits=lambda style: not style.escape),
    Fault("quote left open inside", _open_inside),
    Fault("quote left open at the end", _open_at_end),
    Fault("cut in the last row", _cut, line_end_last=False),
    Fault("zero byte", _zero_byte),
    Fault("huge cell", _huge),
)


def specimen(style: Style, fault: Fault) -> Specimen:
    """Return the file that ``fault`` makes of the clean one in ``style``, and the truth about it."""
    items = fault.change(clean(style), style)
    raws = [item.raw if item.raw is not None else style.delimiter.join(map(style.cell, item.cells)) for item in items]
    text = style.line_end.join(raws) + (style.line_end if fault.line_end_last else "")
    line, header_line = 1, 0
    rows, skipped, malformed, shown = [], [], [], []
    for item, raw in zip(items, raws, strict=True):
        cells = item.read or item.cells
        if item.place == "header":
            header_line = line
        elif item.place == "row":
            rows.append((line, cells))
        elif item.place == "skipped":
            skipped.append((line, item.why))
        elif item.place == "malformed":
            malformed.append((line, item.why))
        if item.place != "above" and raw:
            shown.append(item.cells)
        # Line breaks inside cells are line feeds in every style.
        line += 1 + raw.count("\n")
    return Specimen(
        name=f"{style.name}: {fault.name}",
        data=text.encode(style.encoding),
        header_line=header_line,
        rows=tuple(rows),
        skipped=tuple(skipped),
        malformed=tuple(malformed),
        shown=tuple(shown),
    )


def all_specimens() -> list[Specimen]:
    """Return every style with every fault it can carry."""
    return [specimen(style, fault) for style in STYLES for fault in FAULTS if fault.fits(style)]


def mixed_line_ends() -> Specimen:
    """Return a clean file whose records end in LF, CRLF and CR by turns."""
    made = specimen(replace(STYLES[1], name="mixed line ends"), FAULTS[0])
    lines = [cells for _, cells in made.rows]
    style = STYLES[1]
    ends = ("\n", "\r\n", "\r")
    written = [style.delimiter.join(map(style.cell, cells)) for cells in (HEADER, *lines)]
    text = "".join(record + ends[n % 3] for n, record in enumerate(written))
    return replace(made, name="mixed line ends", data=text.encode())
