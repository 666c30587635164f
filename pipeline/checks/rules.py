"""Limits and expressions that more than one check uses, and the rules that are not about one row alone."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

WET_OVER_DRY_F = 2.0
"""Wet bulb this far over dry bulb is two thermometers disagreeing, further is a wrong value [degF].
Common practice, no source."""

ROUNDING_F = 1e-6
"""Keeps a difference that is exactly on a limit inside it, whatever binary rounding does [degF]."""

BLOWER_HEAT_F = 3.0
"""What a blower may add to the air without any cooling [degF]. Common practice, no source."""

SWAP_NEAR_PCT = 15.0
"""A reading this near the other section's rating fits it [%]. Common practice, no source."""

SWAP_FAR_PCT = 40.0
"""A reading this far from its own rating does not fit it [%]. Common practice, no source."""

COOLING = (pl.col("mode") == "cooling") | (
    pl.col("mode").is_null() & (pl.col("supply_db_f") < pl.col("return_db_f")).fill_null(False)
)
"""Cooling as the contract decides it: as written, else from the air temperatures."""


@dataclass(frozen=True)
class Rule:
    """A rule that needs the whole file or the table's registry, so that it is no check of one row."""

    slug: str
    severity: str
    message: str
    advice: str
    source: str


REQUIRED_MISSING = Rule(
    slug="required-missing",
    severity="reject_row",
    message="the cell is empty and a row cannot be used without it; the row was not stored",
    advice="Fill it in and import again.",
    source="the registry of fields, required = true",
)

CONFLICTING_ROWS = Rule(
    slug="conflicting-rows",
    severity="reject_row",
    message="{place} has the same {key} but another {differing}; none of them was stored",
    advice="Keep the right record, delete the other, and import again.",
    source="import rules: one file cannot say two things of one key",
)


def looks_swapped(herm_uf: pl.Expr, fan_uf: pl.Expr, herm_rated_uf: pl.Expr, fan_rated_uf: pl.Expr) -> pl.Expr:
    """Return whether two readings fit the two ratings only the other way round; null where one is missing.

    Both readings must lie near the other section's rating and far from their own, so that a dual whose sections are
    alike, or an open section, is never called swapped.

    Parameters
    ----------
    herm_uf, fan_uf : readings [uF]
    herm_rated_uf, fan_rated_uf : ratings in force [uF]; 0 (no such section) is never swapped

    References
    ----------
    Common practice, no source.
    """
    return (
        (herm_rated_uf > 0)
        & (fan_rated_uf > 0)
        & _within(herm_uf, fan_rated_uf, SWAP_NEAR_PCT)
        & _within(fan_uf, herm_rated_uf, SWAP_NEAR_PCT)
        & ~_within(herm_uf, herm_rated_uf, SWAP_FAR_PCT)
        & ~_within(fan_uf, fan_rated_uf, SWAP_FAR_PCT)
    )


def _within(reading: pl.Expr, rating: pl.Expr, pct: float) -> pl.Expr:
    return (reading - rating).abs() <= rating * pct / 100
