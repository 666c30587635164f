"""Cells that a spreadsheet would run as a formula: one apostrophe in front going out, taken off coming back."""

from __future__ import annotations

import polars as pl

FORMULA = r"^'*[=+\-@\t\r]"
"""A cell that a spreadsheet runs, or one whose apostrophes would be mistaken for the guard.
Signs: the usual list for CSV injection (equals, plus, minus, at, tab, carriage return)."""

GUARDED = r"^'+[=+\-@\t\r]"
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


def unguard(cell: pl.Expr) -> pl.Expr:
    """Return the text without the one apostrophe that ``guard`` put in front of a formula sign."""
    return pl.when(cell.str.contains(GUARDED)).then(cell.str.slice(1)).otherwise(cell)
