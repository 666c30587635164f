"""One believable export, polluted in every way a writer can: what is printed of it must keep every record and cell."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass

HEADER = ["Ticket", "Unit", "Visit date", "Time", "Tech", "Outdoor F", "Herm uF", "Total", "Notes"]
WORDS = "coil filter washed replaced contactor pitted swollen drain clear checked new fan motor noisy oil".split()  # noqa: SIM905

Table = list[list[str]]


@dataclass(frozen=True)
class Polluted:
    """A file, and the records that must come out below what stands above its header."""

    name: str
    data: bytes
    records: Table


def _note(draw: random.Random) -> str:
    words = " ".join(draw.choice(WORDS) for _ in range(draw.randint(2, 9)))
    return draw.choice(
        [
            words,
            words.replace(" ", ", ", 2),
            f'he said "{words}" twice',
            words.replace(" ", "\n", 1),
            f'{words}, 12" duct',
            "",
        ]
    )


def export(rows: int = 60) -> Table:
    """Return a header and rows with commas, quotes, apostrophes, line breaks and blanks in their notes."""
    draw = random.Random(5)
    table = [list(HEADER)]
    for n in range(rows):
        day = f"{draw.randint(1, 12):02d}/{draw.randint(1, 28):02d}/20{draw.randint(10, 24)}"
        time = f"{draw.randint(1, 12):02d}:{draw.randint(0, 59):02d} {draw.choice(['AM', 'PM'])}"
        tech = draw.choice(["Ada", "Ben K.", "O'Neil"])
        numbers = [str(draw.randint(60, 110)), f"{draw.uniform(20, 60):.1f}", f"{draw.uniform(50, 1500):.2f}"]
        table.append([f"V{n:04d}", f"U{draw.randint(1, 40):03d}", day, time, tech, *numbers, _note(draw)])
    return table


def text_of(
    table: Table,
    delimiter: str = ",",
    quote: str = '"',
    escape: str | None = None,
    end: str = "\r\n",
    quote_all: bool = False,
) -> str:
    """Return the table as text; ``escape`` None doubles quotes, "" leaves them as they are."""

    def cell(value: str) -> str:
        blank = not value and delimiter == " "
        special = any(mark in value for mark in (delimiter[0], quote, "\n", "\r"))
        if not (quote_all or blank or special):
            return value
        if escape is None:
            inner = value.replace(quote, quote * 2)
        elif escape:
            inner = value.replace(escape, escape * 2).replace(quote, escape + quote)
        else:
            inner = value
        return quote + inner + quote

    return "".join(delimiter.join(map(cell, record)) + end for record in table)


def polluted() -> Iterator[Polluted]:
    """Yield every polluted file."""
    table = export()
    for name, text, records in (*_dialects(table), *_surroundings(table), *_rows(table)):
        yield Polluted(name, text.encode(), records)


def _dialects(table: Table) -> Iterator[tuple[str, str, Table]]:
    no_colon = [[cell.replace(":", "h") for cell in record] for record in table]
    for mark in (",", ";", "\t", "|", " ", ", ", "; ", "^", "~", "#", ":"):
        records = no_colon if mark == ":" else table
        for quote_all in (False, True):
            yield f"delimiter {mark!r}, all quoted {quote_all}", text_of(records, mark, quote_all=quote_all), records
    for quote in "'`~|$%*^@/":
        for mark, quote_all in ((",", False), (",", True), (";", False)):
            text = text_of(table, mark, quote, quote_all=quote_all)
            yield f"quote {quote}, delimiter {mark}, all quoted {quote_all}", text, table
    for escape in ("\\", "/", "~", "^", "$", ""):
        for quote_all in (False, True):
            text = text_of(table, escape=escape, quote_all=quote_all)
            yield f"escape {escape or 'none'}, all quoted {quote_all}", text, table
    for end in ("\n", "\r\n", "\r"):
        yield f"line end {end!r}", text_of(table, end=end), table
        yield f"line end {end!r} but the last", text_of(table, end=end).removesuffix(end), table
    yield "a blank line at the end", text_of(table) + "\r\n", table


def _surroundings(table: Table) -> Iterator[tuple[str, str, Table]]:
    for mark in (",", ";", "\t"):
        for count in (1, 2, 3):
            yield f"{count - 1} rows, delimiter {mark!r}", text_of(table[:count], mark), table[:count]
        yield f"no header, delimiter {mark!r}", text_of(table[1:], mark), table[1:]
    titles = (
        "Cool Air Service\r\n",
        "Report of visits\r\n\r\n",
        "Report, printed Tuesday, May 3, 2024\r\nShop: North, South\r\n\r\n",
        "Title,,,,,,,,\r\nFrom,2024-01-01,,,,,,,\r\n,,,,,,,,\r\n",
        "Shop,Cool\r\nFrom,2024-01-01\r\nTo,2024-05-01\r\n\r\n",
        "# exported\r\n# by me, for you\r\n",
        '"Cool Air, the shop"\r\n',
    )
    for n, title in enumerate(titles):
        for mark in (",", ";"):
            yield f"title block {n}, delimiter {mark}", title + text_of(table, mark), table
    draw = random.Random(6)
    parts = [["Part", "Price", "Qty"]] + [[f"P{n}", f"{draw.uniform(1, 90):.2f}", "2"] for n in range(20)]
    wide = [[f"a{n}" for n in range(12)]] + [[str(draw.randint(1, 999)) for _ in range(12)] for _ in range(20)]
    same = [["Part", "Make", "Made on", "At", "By", "Amps", "Volts", "Price", "Text"]]
    same += [[f"P{n}", "X", "01/02/2020", "01:00 PM", "Z", str(n), "230", "12.50", "text"] for n in range(30)]
    pairs = [record[:2] for record in parts]
    for name, other in (("narrower", parts), ("wider", wide), ("as wide", same), ("in pairs", pairs)):
        for gap in ("", "\r\n", "\r\n\r\n"):
            yield f"a table below, {name}, gap {gap!r}", text_of(table) + gap + text_of(other), table + other
            yield f"a table above, {name}, gap {gap!r}", text_of(other) + gap + text_of(table), other + table
    doubled = [[f"{cell} ({n})" for cell in HEADER] for n in (1, 2)] + table[1:]
    yield "a header of two lines", text_of(doubled), doubled


def _rows(table: Table) -> Iterator[tuple[str, str, Table]]:
    draw = random.Random(9)
    for at in draw.sample(range(1, len(table)), 8):
        for column in draw.sample(range(8), 2):
            record = [cell.replace('"', "").replace("\n", " ") for cell in table[at]]
            joined = [*record[:column], record[column] + record[column + 1], *record[column + 2 :]]
            yield f"row {at} lacks a delimiter at {column}", *_with(table, at, joined)
            split = [*record[:column], "", *record[column:]]
            yield f"row {at} has a delimiter too many at {column}", *_with(table, at, split)
            for where, cell in _with_a_quote(record[column]):
                for quote_all in (False, True):
                    dirty = [*record[:column], cell, *record[column + 1 :]]
                    written = [f'"{c}"' if quote_all or "," in c else c for c in dirty]
                    lines = [text_of([r], quote_all=quote_all) for r in table]
                    lines[at] = ",".join(written) + "\r\n"
                    records = [*table[:at], dirty, *table[at + 1 :]]
                    yield f"row {at}, stray quote {where} {column}, all quoted {quote_all}", "".join(lines), records


def _with(table: Table, at: int, record: list[str]) -> tuple[str, Table]:
    records = [*table[:at], record, *table[at + 1 :]]
    return text_of(records), records


def _with_a_quote(cell: str) -> Iterator[tuple[str, str]]:
    yield "before", '"' + cell
    yield "behind", cell + '"'
    yield "inside", cell[:2] + '"' + cell[2:]
