"""Cells that a spreadsheet would run as a formula: one apostrophe in front going out, taken off coming back."""

from __future__ import annotations

import re

import polars as pl

SIGNS = r"[=+\-@\t\r\n＝＋－＠]"
"""The usual list for CSV injection: equals, plus, minus, at (full-width ones too), tab, carriage return, line feed."""

FORMULA = rf"^'*{SIGNS}"
"""A cell that a spreadsheet runs, or one whose apostrophes would be mistaken for the guard."""

GUARDED = rf"^'+{SIGNS}"
PLAIN_NUMBER = r"^[+-](\d[\d.,]*|[.,]\d+)([eE][+-]?\d+)?$"
"""A signed number is no formula: -5 stays -5."""


def guard(cell: pl.Expr) -> pl.Expr:
    """Return the text with an apostrophe in front where a spreadsheet would run it; null stays null.

    Notes
    -----
    ``unguard(guard(x)) == x`` for every text: a cell that already has apostrophes before a sign gets one more.
    """
    harmless = ~cell.str.contains(FORMULA) | cell.str.contains(PLAIN_NUMBER)
    return pl.when(harmless).then(cell).otherwise(pl.lit("'") + cell)


def guarded(text: str) -> str:
    """Return one text as ``guard`` returns a column's."""
    return text if not re.search(FORMULA, text) or re.search(PLAIN_NUMBER, text) else f"'{text}"


def unguarded(text: str) -> str:
    """Return one text as ``unguard`` returns a column's."""
    return text[1:] if re.search(GUARDED, text) else text


def unguard(cell: pl.Expr) -> pl.Expr:
    """Return the text without the one apostrophe that ``guard`` put in front of a formula sign."""
    return pl.when(cell.str.contains(GUARDED)).then(cell.str.slice(1)).otherwise(cell)
