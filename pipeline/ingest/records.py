"""Text in, records out: a tokenizer that forgives irregular quotes but never loses a character unseen.

A quote opens a cell only at the cell's start, and closes it only before a delimiter or line end. Where that
fails (stray quotes, quotes that never close) the readings that give the table's usual width are preferred.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from typing import NamedTuple

OK, LENIENT, OPEN = 0, 1, 2
"""Flaw of a record: none; a quote inside a quoted cell was not doubled; a quote was opened and never closed."""

LINE_END = re.compile(r"\r\n|\n|\r")
FAR_LINES, FAR_CHARACTERS = 60, 100_000
"""Lines and characters that a quoted cell with irregular quotes inside may span before its quote is taken literally."""
MOST_DOUBTS = 5
CHOICES = (0, 5, 5, 4, 3, 3)
"""Doubtful quotes of one record for which every reading is tried, and how many readings of each, by their number."""
MOST_SPENT, READING_COST, DOUBT_COST = 4_000_000, 100, 20
"""Characters read again (plus a cost per reading, and per doubtful quote beyond those that are tried) before a file
only gets first readings and stays quick."""


class Record(NamedTuple):
    """One record: first physical line (from 1), its cells, where its text starts and ends, and its flaw."""

    line: int
    cells: list[str]
    start: int
    end: int
    flaw: int


@dataclass(frozen=True)
class Dialect:
    """How a file separates cells; ``quote`` and ``escape`` may be empty."""

    delimiter: str
    quote: str = '"'
    escape: str = ""

    @cached_property
    def pad(self) -> str:
        """Class of white space allowed between a quote and the delimiter."""
        white = "".join(c for c in " \t" if c not in self.delimiter)
        return f"[{white}]*" if white else ""

    @cached_property
    def closing(self) -> re.Pattern[str]:
        """Match a quote that may close a cell."""
        return re.compile(f"{re.escape(self.quote)}{self.pad}(?={_end(self.delimiter)})")

    @cached_property
    def quoted(self) -> re.Pattern[str]:
        """Match a whole well-formed quoted cell; group 1 is what the quotes enclose."""
        q, e = re.escape(self.quote), re.escape(self.escape)
        plain = f"[^{q}{e}]*+"
        inner = f"{plain}(?:(?:{q}{q}" + (f"|{e}." if e else "") + f"){plain})*+"
        return re.compile(f"{self.pad}{q}({inner}){q}{self.pad}(?={_end(self.delimiter)})", re.DOTALL)

    @cached_property
    def opening(self) -> re.Pattern[str]:
        """Match a quote at the start of a cell."""
        return re.compile(f"{self.pad}{re.escape(self.quote)}")

    @cached_property
    def unquoted(self) -> re.Pattern[str]:
        """Match a cell without quotes around it."""
        d, e = re.escape(self.delimiter), re.escape(self.escape)
        if len(self.delimiter) > 1:
            return re.compile(rf"(?:(?!{d})[^\r\n])*+")
        if e and not self.quote:
            return re.compile(rf"(?:{e}.|[^{d}{e}\r\n])*+", re.DOTALL)
        return re.compile(rf"[^{d}\r\n]*+")

    def unescaped(self, inner: str) -> str:
        """Return the text that ``inner`` stands for."""
        if self.escape and self.escape in inner:
            marks = "".join({self.quote, self.escape, self.delimiter if len(self.delimiter) == 1 else ""})
            pattern = f"{re.escape(self.escape)}([{re.escape(marks)}])"
            if self.quote:
                pattern += f"|{re.escape(self.quote)}({re.escape(self.quote)})"
            return re.sub(pattern, lambda m: m[1] or (m[2] if self.quote else "") or "", inner)
        return inner.replace(self.quote * 2, self.quote) if self.quote else inner


def _end(delimiter: str) -> str:
    return rf"{re.escape(delimiter)}|[\r\n]|\Z"


class _Reading(NamedTuple):
    cells: list[str]
    end: int
    flaw: int
    doubts: int
    multiline: bool


@dataclass(frozen=True)
class Lines:
    """Physical lines of a text: where each starts, where its content ends; line ends are LF, CRLF or CR."""

    starts: list[int]
    ends: list[int]

    @classmethod
    def of(cls, text: str, start: int = 0, most: int | None = None) -> Lines:
        """Return the lines of ``text`` from ``start`` on, at most ``most`` of them."""
        starts, ends = [start], []
        for match in LINE_END.finditer(text, start):
            ends.append(match.start())
            if most is not None and len(ends) >= most:
                return cls(starts, ends)
            starts.append(match.end())
        if starts[-1] >= len(text):
            starts.pop()
        else:
            ends.append(len(text))
        return cls(starts, ends)


def records(
    text: str,
    dialect: Dialect,
    *,
    widths: tuple[int, ...] = (),
    start: int = 0,
    first_line: int = 1,
    most: int | None = None,
) -> Iterator[Record]:
    """Yield every record of ``text`` from ``start`` on, blank lines included, in order.

    Parameters
    ----------
    text : str
        Decoded text of the file.
    dialect : Dialect
        Delimiter, quote and escape.
    widths : tuple of int
        Usual numbers of cells, most usual first; decides between readings of irregular quotes.
    start, first_line : int
        Offset to begin at and the physical line there.
    most : int, optional
        Physical lines to look at; the last record may then be incomplete.
    """
    lines = Lines.of(text, start, most)
    reader = _Reader(text, dialect, widths, lines)
    at, count = 0, len(lines.starts)
    quote, escape, delimiter = dialect.quote, dialect.escape, dialect.delimiter
    while at < count:
        begin, end = lines.starts[at], lines.ends[at]
        line = text[begin:end]
        if (quote and quote in line) or (escape and escape in line):
            reading = reader.best(at)
            after = bisect_right(lines.starts, reading.end, at) if reading.end > end else at + 1
            yield Record(first_line + at, reading.cells, begin, reading.end, reading.flaw)
            at = after
            continue
        cells = line.split(delimiter)
        if widths and len(cells) < widths[0] and at + 1 < count and reader.is_lone_return(at):
            joined = text[begin : lines.ends[at + 1]]
            whole = joined.split(delimiter)
            if len(whole) == widths[0] and not (quote and quote in joined):
                # A carriage return inside an unquoted cell: neither half is a record by itself.
                yield Record(first_line + at, whole, begin, lines.ends[at + 1], OK)
                at += 2
                continue
        yield Record(first_line + at, cells, begin, end, OK)
        at += 1


@dataclass
class _Reader:
    text: str
    dialect: Dialect
    widths: tuple[int, ...]
    lines: Lines
    spent: int = 0
    closing: tuple[int, re.Match[str] | None] = (-1, None)
    returns_end_lines: bool | None = None

    def is_lone_return(self, at: int) -> bool:
        """Whether the line ends in a carriage return where the file's lines end in line feeds."""
        end = self.lines.ends[at]
        if self.text[end : end + 1] != "\r" or self.text[end + 1 : end + 2] == "\n":
            return False
        if self.returns_end_lines is None:
            feeds, returns = self.text.count("\n"), self.text.count("\r")
            self.returns_end_lines = returns - self.text.count("\r\n") > 0.2 * feeds
        return not self.returns_end_lines

    def best(self, at: int) -> _Reading:
        """Return the reading of the record that begins on line ``at``."""
        first = self._read(at, ())
        if not first.doubts or not self.widths or (first.flaw == OK and not first.multiline):
            return first
        if len(first.cells) in self.widths:
            if not first.multiline and (first.flaw != OPEN or self._next_is_regular(first)):
                return first
            if first.flaw == OK:
                return first
        tried = [first]
        doubts = min(first.doubts, MOST_DOUBTS)
        for choice in product(range(CHOICES[doubts]), repeat=doubts):
            if not any(choice) or self.spent > MOST_SPENT:
                continue
            reading = self._read(at, choice)
            if len(reading.cells) in self.widths and not reading.multiline and self._next_is_regular(reading):
                return reading
            tried.append(reading)
        fitting = [r for r in tried if len(r.cells) in self.widths]
        if fitting:
            return min(fitting, key=lambda r: (r.flaw, r.multiline))
        single = [r for r in tried if not r.multiline]
        return first if not first.multiline or first.flaw == OK or not single else single[-1]

    def _next_is_regular(self, reading: _Reading) -> bool:
        at = bisect_right(self.lines.starts, reading.end)
        if at >= len(self.lines.starts):
            return True
        after = self._read(at, ())
        return len(after.cells) in self.widths or after.doubts > 0

    def _read(self, at: int, choice: tuple[int, ...]) -> _Reading:
        """Read one record; ``choice[n]`` says how the n-th doubtful quote is read.

        0 = as well formed or else closed as early as possible, 1 = taken literally, 2, 3, … = closed at the
        first, second, … quote that may close a cell on the line.
        """
        text, dialect = self.text, self.dialect
        position, line_end = self.lines.starts[at], self.lines.ends[at]
        cells: list[str] = []
        flaw, doubts, multiline = OK, 0, False
        opening = dialect.opening if dialect.quote else None
        quote, delimiter = dialect.quote, dialect.delimiter
        while True:
            if quote:
                # Cells up to the one that holds the next quote need no closer look.
                mark = text.find(quote, position, line_end)
                if mark < 0:
                    cells.extend(text[position:line_end].split(delimiter))
                    return self._done(at, cells, line_end, flaw, doubts, multiline)
                split = text.rfind(delimiter, position, mark)
                if split >= 0:
                    cells.extend(text[position:split].split(delimiter))
                    position = split + len(delimiter)
            opened = opening.match(text, position) if opening else None
            cell: str | None = None
            if opened is not None:
                match = dialect.quoted.match(text, position)
                spans = match is not None and match.end() > line_end
                odd = match is None or spans or self._closes_inside(match[1])
                pick = 0
                if odd:
                    pick = choice[doubts] if doubts < len(choice) else 0
                    doubts += 1
                if match is not None and pick == 0:
                    cell, after = dialect.unescaped(match[1]), match.end()
                elif pick != 1:
                    closing = self._closing(opened.end(), line_end, far=pick == 0)
                    for _ in range(pick - 2):
                        closing = self._closing(closing.end(), line_end, far=False) if closing is not None else None
                    if closing is not None:
                        inner = text[opened.end() : closing.start()]
                        cell, after = dialect.unescaped(inner), closing.end()
                        flaw = max(flaw, LENIENT)
            if cell is None:
                found = dialect.unquoted.match(text, position)
                assert found is not None
                cell, after = found[0], found.end()
                if opened is not None:
                    flaw = max(flaw, OPEN if cell.count(quote) % 2 else LENIENT)
                if dialect.escape and not dialect.quote:
                    cell = dialect.unescaped(cell)
            cells.append(cell)
            if after > line_end:
                multiline = True
                line_end = self.lines.ends[min(bisect_right(self.lines.starts, after), len(self.lines.ends)) - 1]
            if not text.startswith(delimiter, after):
                return self._done(at, cells, after, flaw, doubts, multiline)
            position = after + len(delimiter)

    def _done(self, at: int, cells: list[str], after: int, flaw: int, doubts: int, multiline: bool) -> _Reading:
        if doubts:
            self.spent += after - self.lines.starts[at] + READING_COST + DOUBT_COST * max(0, doubts - MOST_DOUBTS)
        return _Reading(cells, after, flaw, doubts, multiline)

    def _closes_inside(self, inner: str) -> bool:
        """Whether a doubled quote inside a well-formed cell could as well have closed it."""
        doubled = self.dialect.quote * 2
        return f"{doubled}{self.dialect.delimiter}" in inner

    def _closing(self, begin: int, line_end: int, *, far: bool) -> re.Match[str] | None:
        """Return the next quote that may close a cell, on the line or (``far``) not too many lines below."""
        limit = line_end - 1
        if far:
            last = bisect_right(self.lines.starts, begin) - 1 + FAR_LINES
            limit = min(self.lines.ends[min(last, len(self.lines.ends) - 1)], begin + FAR_CHARACTERS)
        closing = self._next_closing(begin)
        return closing if closing is not None and closing.start() <= max(limit, line_end - 1) else None

    def _next_closing(self, begin: int) -> re.Match[str] | None:
        # The last answer is kept, and holds for every place between where it was asked and where it lies.
        # Without it, a long line of stray quotes would be searched to its end for each of them.
        asked, known = self.closing
        if asked <= begin and (known is None or begin <= known.start()) and asked >= 0:
            return known
        pattern = self.dialect.closing
        if 0 <= begin < asked:
            near = pattern.search(self.text, begin, asked + 1)
            near = pattern.match(self.text, near.start()) if near is not None else None
            known = near if near is not None and near.start() < asked else known
        else:
            known = pattern.search(self.text, begin)
        self.closing = (begin, known)
        return known


BLANK = " \t\r\n\x0b\x0c\x1a\x00\ufeff\u00a0"
"""Characters that do not make a cell other than blank (white space, end-of-file mark, zero bytes)."""


def is_blank(cells: Sequence[str]) -> bool:
    """Whether no cell holds anything that can be seen."""
    return all(not cell.strip(BLANK) for cell in cells)
