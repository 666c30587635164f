"""What a unit's readings should be with nothing wrong: its own history where it has one, else its equipment class.

Three layers, each corrected by the next: shipped rules of thumb for the conditions; the shop's own fleet, per metering
device and refrigerant, where enough visits were in order; the unit's own earlier visits in order.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.enrich.airflow import AGAINST_AIRFLOW, USUAL_SPLIT_F, usual_split_f
from pipeline.enrich.charge_targets import EXPANSION_VALVE, FIXED_ORIFICE
from pipeline.enrich.fault_model import FEATURES, FaultModel, fault_model
from pipeline.enrich.level_fit import SLOPES, fit_level, spreads_before_cut

Floats = NDArray[np.float64]
OWN_HISTORY = "own history"
FLEET_CLASS = "equipment class in this fleet"
RULES_OF_THUMB = "rules of thumb for the equipment class"
CONDITIONS = ("outdoor_db_f", "return_wb_f", "return_db_f")
USUAL_CONDITIONS_F = (90.0, 64.0, 76.0)
CUT_OFF = {("fixed_orifice", "t_sh"): 5.0, ("expansion_valve", "t_sc"): 3.0}
"""Half width of the band [degF] at which ``in_order`` cuts off the reading that the verdict itself rests on."""
AIRFLOW_SEEN_POOR = (*AGAINST_AIRFLOW.values(), "measured airflow low", "static pressure high")
"""Doubts about the airflow that rest on something else than the readings that the sign table looks at."""
LEVELS_SCHEMA: Mapping[str, pl.DataType] = {
    "metering": pl.String(),
    "refrigerant": pl.String(),
    "feature": pl.String(),
    "visits": pl.Float64(),
    "level_f": pl.Float64(),
    "by_outdoor": pl.Float64(),
    "by_wet_bulb": pl.Float64(),
    "by_dry_bulb": pl.Float64(),
    "between_sd_f": pl.Float64(),
    "visit_sd_f": pl.Float64(),
    "faulty_share": pl.Float64(),
}
"""What is usual per equipment class: a level and slopes on top of the rules of thumb, and the two spreads.

The last is the share of all visits of the fleet that show a fault."""


@dataclass(frozen=True)
class Residuals:
    """Actual minus expected, features x rows, NaN where not read.

    ``own`` counts the earlier visits in order; ``learned`` says whether the class was learned from the fleet.
    """

    values: Floats
    sds: Floats
    own: Floats
    learned: NDArray[np.bool_]


def thumb_rules() -> dict[str, pl.Expr]:
    """Return, per feature, actual minus the rule of thumb for the conditions [degF].

    Notes
    -----
    Coil 26 below the return wet bulb (37 below dry bulb without one), condensing 20 over outdoors, discharge 80 over
    outdoors, condenser air rise 18, the usual split, superheat 11 behind a valve: common practice, no source. Target
    superheat and target subcooling where they are known.
    """
    outdoor, wet, dry = (pl.col(name) for name in CONDITIONS)
    superheat = pl.when(FIXED_ORIFICE).then(pl.coalesce("computed_target_f", "highest_target_f")).otherwise(11.0)
    subcooling = pl.coalesce(pl.col("target_subcooling_f"), pl.col("plate_subcooling_f"), pl.lit(10.0))
    return {
        "t_evap": pl.col("suction_saturation_f") - pl.coalesce(wet - 26.0, dry - 37.0, pl.lit(40.0)),
        "t_sh": pl.col("superheat_f") - superheat,
        "t_cond": pl.col("liquid_saturation_f") - (outdoor + 20.0),
        "t_sc": pl.col("subcooling_f") - subcooling,
        "t_hg": pl.col("discharge_line_f") - (outdoor + 80.0),
        "dt_ca": pl.col("condenser_leaving_f") - outdoor - 18.0,
        "dt_ea": pl.col("temperature_split_f") - pl.coalesce(usual_split_f(), pl.lit(USUAL_SPLIT_F)),
    }


def class_levels(rows: pl.DataFrame, in_order_p: Floats | None = None) -> pl.DataFrame:
    """Return what is usual per metering device and refrigerant among the visits in order.

    Parameters
    ----------
    rows : pl.DataFrame
        Judged readings with the columns of ``thumb_rules``; the whole fleet, in any order.
    in_order_p : array, rows, optional
        How probably nothing is wrong on a visit that ``in_order`` lets pass; 1 where left out.

    Returns
    -------
    pl.DataFrame
        ``LEVELS_SCHEMA`` without a share of faulty visits; classes with too few visits in order are left out.
    """
    model = fault_model()
    least = int(model.answer["least_class_visits"])
    weighed = rows.with_columns(_in_order_p=pl.Series(np.ones(len(rows)) if in_order_p is None else in_order_p))
    healthy = weighed.filter(in_order())
    found: list[dict[str, object]] = []
    for (metering, refrigerant), group in healthy.group_by(_class_key(), pl.col("refrigerant"), maintain_order=True):
        residuals = _matrix(group)
        conditions = _conditions(group)
        units = group.get_column("unit_id").rank("dense").to_numpy()
        weights = group.get_column("_in_order_p").to_numpy()
        for i, feature in enumerate(FEATURES):
            read = np.isfinite(residuals[i]) & (weights > 0.0)
            if float(weights[read].sum()) < least:
                continue
            fit = fit_level(residuals[i, read], conditions[:, read].T, units[read], weights[read], model.visit_sd_f[i])
            if (metering, feature) in CUT_OFF:
                fit |= spreads_before_cut(fit, CUT_OFF[metering, feature])
            found.append({"metering": metering, "refrigerant": refrigerant, "feature": feature, **fit})
    return pl.DataFrame(found, schema=dict(LEVELS_SCHEMA)).sort("metering", "refrigerant", "feature")


def residuals_of(rows: pl.DataFrame, levels: pl.DataFrame, model: FaultModel) -> Residuals:
    """Return actual minus expected of every row, and how sure the expectation and the reading are together.

    Parameters
    ----------
    rows : pl.DataFrame
        Judged readings sorted by unit_id, visit_date, visit_id.
    levels : pl.DataFrame
        ``LEVELS_SCHEMA``; may be empty.
    model : FaultModel
        Spreads where the levels say nothing.
    """
    values = _matrix(rows)
    noise = _reading_noise(rows)
    between = np.repeat(np.asarray(model.between_sd_f)[:, None], len(rows), axis=1)
    visit = np.sqrt(np.asarray(model.visit_sd_f)[:, None] ** 2 + noise**2)
    conditions = _conditions(rows)
    learned = np.zeros(len(rows), dtype=bool)
    classes = rows.select(_class_key(), "refrigerant")
    for (metering, refrigerant), found in levels.group_by("metering", "refrigerant"):
        same = (classes["metering"] == metering) & (classes["refrigerant"] == refrigerant)
        at = same.fill_null(False).arg_true().to_numpy()
        usual = conditions[:, at]
        learned[at] = True
        for level in found.iter_rows(named=True):
            i = FEATURES.index(level["feature"])
            by_conditions = sum(level[name] * usual[k] for k, name in enumerate(SLOPES))
            values[i, at] -= level["level_f"] + by_conditions
            between[i, at] = level["between_sd_f"]
            visit[i, at] = np.maximum(level["visit_sd_f"], 0.5 * noise[i, at])
    healthy = rows.select(in_order()).to_series().fill_null(False).to_numpy()
    return _against_own_history(values, between, visit, healthy, rows.get_column("unit_id"), learned)


def in_order() -> pl.Expr:
    """Return which visits show a unit in order, as far as charge and airflow say.

    Airflow doubted for the split or the coil temperature alone still counts: these are among the readings learned here,
    and leaving out their one end would make what is usual too narrow and too high.
    """
    fine = (pl.col("charge_verdict") == "within") & ~pl.col("borderline") & pl.col("suspect").is_null()
    told = pl.col("airflow_because").str.contains_any(list(AIRFLOW_SEEN_POOR)).fill_null(False)
    poor = (pl.col("airflow") == "doubtful") & told
    return fine & ~poor & (pl.col("mode") == "cooling") & ~pl.col("flood_back")


def _against_own_history(
    values: Floats,
    between: Floats,
    visit: Floats,
    healthy: NDArray[np.bool_],
    unit: pl.Series,
    learned: NDArray[np.bool_],
) -> Residuals:
    """Take off the mean of the unit's earlier visits in order, as far as they are to be trusted."""
    number = unit.rank("dense").to_numpy()
    start = np.searchsorted(number, number)
    count, total = np.empty_like(values), np.empty_like(values)
    for i, row in enumerate(values):
        usable = healthy & np.isfinite(row)
        count[i] = _earlier(usable.astype(np.float64), start)
        total[i] = _earlier(np.where(usable, row, 0.0), start)
    between, visit = between**2, visit**2
    known = visit + count * between
    sds = np.sqrt(visit * (between / known + 1.0))
    return Residuals(values - between / known * total, sds, count.max(axis=0, initial=0), learned)


def _earlier(x: Floats, start: NDArray[np.intp]) -> Floats:
    """Return the sum over earlier rows of the same unit; rows are sorted by unit and date."""
    before = np.cumsum(x) - x
    return before - before[start]


def _matrix(rows: pl.DataFrame) -> Floats:
    rules = thumb_rules()
    return _features_first(rows, [rules[feature] for feature in FEATURES])


def _conditions(rows: pl.DataFrame) -> Floats:
    """Return the conditions about their usual values; one that was not read counts as usual."""
    return _features_first(
        rows, [pl.col(n).fill_null(u) - u for n, u in zip(CONDITIONS, USUAL_CONDITIONS_F, strict=True)]
    )


def _features_first(rows: pl.DataFrame, expressions: list[pl.Expr]) -> Floats:
    """Return one contiguous array per expression, NaN for null."""
    found = rows.select(e.cast(pl.Float64).alias(str(k)) for k, e in enumerate(expressions))
    return np.array([column.to_numpy() for column in found], dtype=np.float64)


def _reading_noise(rows: pl.DataFrame) -> Floats:
    """Return the instruments' standard deviation per feature [degF]."""
    thermometer = 0.8  # RA3.2's 1.3 degF limit over the square root of three, with its 0.1 %
    one, two = pl.lit(thermometer), pl.lit(thermometer * 2**0.5)
    orifice_sh = (
        pl.col("superheat_sd_f") ** 2 + pl.when(FIXED_ORIFICE).then(pl.col("target_sd_f") ** 2).otherwise(0.0)
    ).sqrt()
    noise = {
        "t_evap": pl.col("suction_saturation_sd_f"),
        "t_sh": orifice_sh,
        "t_cond": (pl.col("liquid_saturation_sd_f") ** 2 + thermometer**2).sqrt(),
        "t_sc": pl.col("subcooling_sd_f"),
        "t_hg": one,
        "dt_ca": two,
        "dt_ea": pl.col("split_sd_f").fill_null(two),
    }
    return _features_first(rows, [noise[feature] for feature in FEATURES])


def _class_key() -> pl.Expr:
    return (
        pl.when(FIXED_ORIFICE)
        .then(pl.lit("fixed_orifice"))
        .when(EXPANSION_VALVE)
        .then(pl.lit("expansion_valve"))
        .alias("metering")
    )
