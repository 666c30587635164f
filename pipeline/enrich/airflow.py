"""Whether indoor airflow was shown to be in order, and what the air side says where it was measured."""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.config import Charge
from pipeline.enrich.limits import Limits
from pipeline.enrich.psychrometrics import complete_rows, humidity_ratio, moist_enthalpy_btu_lb, specific_volume_ft3_lb
from pipeline.enrich.reasons import joined

AGAINST_AIRFLOW = {"iced_coil": "iced coil", "dirty_filter": "dirty filter", "dirty_coil": "dirty coil"}
"""Observations that speak against the airflow, whatever the split says."""

Floats = NDArray[np.float64]


def add_airflow(frame: pl.DataFrame, *, settings: Charge, limits: Limits) -> pl.DataFrame:
    """Add airflow (``shown``, ``doubtful``, ``not_shown``) with airflow_because, and capacity where it can be known.

    A charge test holds only with the airflow in order: low airflow lowers superheat exactly as too much refrigerant
    does. Anything that speaks against the airflow outweighs what speaks for it; only a measured airflow outweighs
    static pressure and split.

    Parameters
    ----------
    frame : pl.DataFrame
        What ``charge_inputs``, ``add_table_airflow`` and ``add_uncertainty`` return.
    settings : Charge
        Static pressure limit [inches of water] and least airflow [cfm per ton].
    limits : Limits
        Limits of split and evaporating temperature.

    Returns
    -------
    pl.DataFrame
        Rows kept. Added: airflow, airflow_because; target_split_f, always null until the shop has a sourced table;
        capacity_btuh, sensible_share where both wet bulbs were measured and the airflow was, or the shop's own fan
        table gives it (which is no evidence of airflow: a table knows nothing of the dirt on the wheel).
    """
    split, evaporating = pl.col("temperature_split_f"), pl.col("suction_saturation_f")
    cfm_per_ton = pl.col("airflow_cfm") / pl.when(pl.col("nominal_tons") > 0).then(pl.col("nominal_tons"))
    measured = cfm_per_ton.is_not_null()
    static = pl.col("static_in_wc")
    # low charge makes a cold coil too, and then the coil is no sign of the airflow
    starved = pl.col("p_charge_low").fill_null(0.0) >= 0.5
    against = [
        (text, pl.col("observations").str.contains(word, literal=True)) for word, text in AGAINST_AIRFLOW.items()
    ]
    against += [
        ("measured airflow low", cfm_per_ton < settings.airflow_cfm_per_ton),
        ("static pressure high", ~measured & (static > settings.static_limit_in_wc)),
        ("temperature split high", ~measured & (split > highest_split_f(limits))),
        ("suction saturation below freezing", evaporating < limits.coil_freezing_f),
        (
            "suction saturation low for the return air",
            ~measured & ~starved & (evaporating < pl.col("return_wb_f") - limits.evaporating_below_wet_bulb_f),
        ),
    ]
    in_favour = [
        ("measured airflow", cfm_per_ton >= settings.airflow_cfm_per_ton),
        ("static pressure", static.is_between(0.0, settings.static_limit_in_wc, closed="right")),
        ("temperature split", split >= limits.split_low_f),
    ]
    out = joined(joined(frame, "_against", against), "_in_favour", in_favour)
    doubtful, shown = pl.col("_against").is_not_null(), pl.col("_in_favour").is_not_null()
    state = pl.when(doubtful).then(pl.lit("doubtful")).when(shown).then(pl.lit("shown")).otherwise(pl.lit("not_shown"))
    return out.with_columns(
        airflow=state,
        airflow_because=pl.coalesce("_against", "_in_favour"),
        target_split_f=pl.lit(None, dtype=pl.Float64),
        capacity_btuh=_capacity(),
        sensible_share=_sensible_share(),
    ).drop("_against", "_in_favour")


USUAL_SPLIT_F = 19.0
"""Return air minus supply air [degF] at 75/63: common practice, no source."""


def usual_split_f() -> pl.Expr:
    """Return the split [degF] that a coil in order makes of the return air; null where that is unknown.

    Notes
    -----
    Moist air gives up its heat as water, so a coil in order cools it less: 0.6 degF more per degF of dry bulb over 75
    and 0.8 less per degF of wet bulb over 63: common practice, no source; not a target.
    """
    return USUAL_SPLIT_F + 0.6 * (pl.col("return_db_f") - 75.0) - 0.8 * (pl.col("return_wb_f") - 63.0)


def highest_split_f(limits: Limits) -> pl.Expr:
    """Return the split [degF] above which airflow is doubted: the usual one for the return air, within 12 to 24, plus
    the standard's band; a fixed limit where the return air is unknown."""
    return pl.coalesce(usual_split_f().clip(12.0, 24.0) + limits.split_band_f, pl.lit(limits.split_high_f))


def capacity_btuh(
    cfm: Floats, return_db: Floats, return_wb: Floats, supply_db: Floats, supply_wb: Floats, psia: Floats
) -> Floats:
    """Return heat taken from the air [Btu/h]: the mass flow of the supply air times its fall in enthalpy.

    References
    ----------
    ASHRAE Handbook of Fundamentals 2017, chapter 1, "Moist air cooling and dehumidification" (condensate left out).
    """
    drop = moist_enthalpy_btu_lb(return_db, return_wb, psia) - moist_enthalpy_btu_lb(supply_db, supply_wb, psia)
    return _pounds_per_hour(cfm, supply_db, supply_wb, psia) * drop


def sensible_btuh(cfm: Floats, return_db: Floats, supply_db: Floats, supply_wb: Floats, psia: Floats) -> Floats:
    """Return the part of ``capacity_btuh`` that lowered the temperature [Btu/h]."""
    heat = 0.240 + 0.444 * humidity_ratio(supply_db, supply_wb, psia)
    return _pounds_per_hour(cfm, supply_db, supply_wb, psia) * heat * (return_db - supply_db)


AIRFLOW = pl.coalesce("airflow_cfm", "table_airflow_cfm")
AIR_INPUTS = ("return_db_f", "return_wb_f", "supply_db_f", "supply_wb_f", "air_psia")


def _pounds_per_hour(cfm: Floats, dry_bulb: Floats, wet_bulb: Floats, psia: Floats) -> Floats:
    return 60.0 * cfm / specific_volume_ft3_lb(dry_bulb, wet_bulb, psia)


def _cooling(value: pl.Expr) -> pl.Expr:
    return pl.when(pl.col("mode") == "cooling").then(value)


def _capacity() -> pl.Expr:
    return _cooling(complete_rows(capacity_btuh, AIRFLOW, *(pl.col(name) for name in AIR_INPUTS)))


def _sensible_share() -> pl.Expr:
    total = _capacity()
    inputs = (pl.col(name) for name in AIR_INPUTS if name != "return_wb_f")
    sensible = complete_rows(sensible_btuh, AIRFLOW, *inputs)
    return _cooling(pl.when(total > 0).then((sensible / total).clip(0.0, 1.0)))
