"""The places of a unit that a fitted part serves: the sections of a capacitor, one place for any other part."""

from __future__ import annotations

import polars as pl

SECTIONS = ("herm", "fan", "blower")
UNNAMED_SECTIONS = ("herm", "fan")
"""Sections that a run_capacitor row naming none replaces (contract, section 2)."""
WHOLE = "whole"


def in_slots(parts: pl.DataFrame) -> pl.DataFrame:
    """Return a row per part and place it was fitted in, with the place in ``slot``; in no order.

    Parameters
    ----------
    parts : DataFrame
        part, cap_herm_uf, cap_fan_uf, cap_blower_uf and any further columns.
    """
    capacitor = pl.col("part") == "run_capacitor"
    named = pl.any_horizontal((pl.col(f"cap_{section}_uf") > 0).fill_null(False) for section in SECTIONS)
    rows = [parts.filter(~capacitor).with_columns(slot=pl.lit(WHOLE))]
    for section in SECTIONS:
        serves = (pl.col(f"cap_{section}_uf") > 0).fill_null(False)
        if section in UNNAMED_SECTIONS:
            serves = serves | ~named
        rows.append(parts.filter(capacitor & serves).with_columns(slot=pl.lit(section)))
    return pl.concat(rows)
