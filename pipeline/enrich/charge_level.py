"""How full a system is, as a band: the virtual charge form, screening only and never ounces to add."""

from __future__ import annotations

import polars as pl

from pipeline.enrich.charge_targets import FIXED_ORIFICE
from pipeline.enrich.limits import Limits

USUAL_VALVE_SUPERHEAT_F = 11.0
USUAL_SUBCOOLING_F = 10.0
"""Rated values where the data plate says nothing: common practice, no source; 5 degF off costs 3 and 7 points."""
SAME_WAY_F = 5.0
"""Superheat and subcooling both up, or both down, by more than this is no pattern of charge (check values 5.1)."""
WITH_ACCUMULATOR = ("split_heat_pump", "package_heat_pump", "mini_split")


def virtual_charge_pct(subcooling_off_f: pl.Expr, superheat_off_f: pl.Expr, limits: Limits) -> pl.Expr:
    """Return the deviation from the rated charge [%] from the deviations of subcooling and superheat [degF].

    References
    ----------
    Li & Braun (2009), HVAC&R Research 15(1), form and constants from memory, not seen.

    Examples
    --------
    >>> from pipeline.enrich.limits import limits
    >>> round(pl.select(virtual_charge_pct(pl.lit(-8.0), pl.lit(10.0), limits())).item(), 1)
    -16.5
    """
    share = limits.virtual_charge_superheat_share
    return 100.0 * (subcooling_off_f - share * superheat_off_f) / limits.virtual_charge_subcooling_f


def add_charge_level(rows: pl.DataFrame, limits: Limits) -> pl.DataFrame:
    """Add charge_level_low_pct and charge_level_high_pct: percent of the rated charge, a band of 20 points.

    Null where the charge was not testable, superheat is 0 or less, the system has an accumulator (heat pumps), or
    superheat and subcooling moved the same way.
    """
    rated_sc = pl.coalesce("target_subcooling_f", "plate_subcooling_f", pl.lit(USUAL_SUBCOOLING_F))
    subcooling_off = pl.col("subcooling_f") - rated_sc
    orifice_off = pl.col("superheat_deviation_f")
    superheat_off = pl.when(FIXED_ORIFICE).then(orifice_off).otherwise(pl.col("superheat_f") - USUAL_VALVE_SUPERHEAT_F)
    both_up = (subcooling_off > SAME_WAY_F) & (superheat_off > SAME_WAY_F)
    both_down = (subcooling_off < -SAME_WAY_F) & (superheat_off < -SAME_WAY_F)
    holds = (
        (pl.col("charge_verdict") != "not_testable")
        & (pl.col("superheat_f") > 0)
        & ~pl.col("equipment").is_in(WITH_ACCUMULATOR).fill_null(False)
        & ~both_up
        & ~both_down
    )
    level = pl.when(holds).then(100.0 + virtual_charge_pct(subcooling_off, superheat_off, limits))
    margin = limits.charge_level_margin_pct
    return rows.with_columns(
        charge_level_low_pct=(level - margin).clip(0.0), charge_level_high_pct=(level + margin).clip(0.0)
    )
