"""Charge readings: superheat and subcooling against target, the verdict, how sure it is, or why there is none."""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from pipeline.config import Charge
from pipeline.enrich.airflow import add_airflow
from pipeline.enrich.blower_tables import add_table_airflow
from pipeline.enrich.charge_inputs import charge_inputs
from pipeline.enrich.charge_level import USUAL_SUBCOOLING_F, add_charge_level
from pipeline.enrich.charge_targets import EXPANSION_VALVE, FIXED_ORIFICE, add_targets, formula_target_f
from pipeline.enrich.expected import RULES_OF_THUMB
from pipeline.enrich.fault_model import OFF_COLUMNS, fault_model
from pipeline.enrich.fault_signs import add_faults
from pipeline.enrich.fault_words import AIRFLOW_READINGS
from pipeline.enrich.limits import Limits, limits
from pipeline.enrich.not_testable import reasons
from pipeline.enrich.reasons import joined
from pipeline.enrich.suspects import recorded_differs
from pipeline.enrich.uncertainty import add_uncertainty, normal_cdf

INCOMPLETE = "incomplete"
"""The reason where no other is met and there is no deviation all the same."""
_NUMBERS = (
    "minutes_running", "altitude_ft", "outdoor_db_f", "return_db_f", "return_wb_f", "supply_db_f", "suction_psig",
    "liquid_psig", "suction_line_f", "liquid_line_f", "discharge_line_f", "condenser_leaving_f", "static_in_wc",
    "airflow_cfm", "table_airflow_cfm", "suction_saturation_f", "liquid_saturation_f", "superheat_f", "superheat_sd_f",
    "target_superheat_f", "superheat_deviation_f", "subcooling_f", "subcooling_sd_f", "target_subcooling_f",
    "subcooling_deviation_f", "deviation_sd_f", "temperature_split_f", "target_split_f", "capacity_btuh",
    "sensible_share", "p_charge_low", "p_charge_high", "p_fault", "charge_level_low_pct", "charge_level_high_pct",
    "leak_loss_f", "computed_target_f", "highest_target_f", "plate_subcooling_f", "target_sd_f",
    "suction_saturation_sd_f", "liquid_saturation_sd_f", "nominal_tons", "p_low_airflow", "split_sd_f",
    "recorded_superheat_f", "recorded_subcooling_f", "recorded_split_f", "superheat_apart_f", "subcooling_apart_f",
    "split_apart_f",
)  # fmt: skip
_TEXTS = (
    "technician", "equipment", "refrigerant", "metering", "mode", "mode_source", "wet_bulb_source", "superheat_source",
    "subcooling_source", "target_source", "airflow", "airflow_because", "charge_verdict", "verdict_basis",
    "not_testable_codes", "suspect", "likely_fault", "runner_up", "fault_because", "expected_from",
    "next_reading", "observations", "visit_type",
)  # fmt: skip
_FAULT = (
    "likely_fault", "p_fault", "runner_up", "p_low_airflow", "fault_because", "expected_from", "next_reading",
)  # fmt: skip
_OFF = tuple(f"{column}{ending}" for column in OFF_COLUMNS.values() for ending in ("_f", "_sd_f"))
CHARGE_READINGS_SCHEMA: Mapping[str, pl.DataType] = {
    "unit_id": pl.String(),
    "visit_id": pl.String(),
    "visit_date": pl.Date(),
    **{name: pl.String() for name in _TEXTS},
    **{name: pl.Float64() for name in (*_NUMBERS, *_OFF)},
    "borderline": pl.Boolean(),
    "flood_back": pl.Boolean(),
    "fits_low_airflow": pl.Boolean(),
}
"""Columns of ``charge_readings`` and their types."""


def charge_readings(
    visits: pl.DataFrame,
    units: pl.DataFrame,
    *,
    altitude_ft: float = 0.0,
    settings: Charge | None = None,
    charts: pl.DataFrame | None = None,
    blowers: pl.DataFrame | None = None,
    levels: pl.DataFrame | None = None,
) -> pl.DataFrame:
    """Return one row per visit and unit with readings: derived quantities, targets, verdict, likely fault.

    Parameters
    ----------
    visits : pl.DataFrame
        unit_id, visit_id, visit_date and the reading fields of visits, whole history of each unit; any may be absent.
    units : pl.DataFrame
        unit_id, refrigerant, metering, equipment, nominal_tons, target_subcooling_f.
    altitude_ft : float
        Altitude of the shop [ft], where a visit names none.
    settings : Charge, optional
        Instrument accuracy and limits; the defaults when left out.
    charts : pl.DataFrame, optional
        The shop's own target superheat charts, see ``add_targets``.
    blowers : pl.DataFrame, optional
        The shop's own fan tables, see ``add_table_airflow``.
    levels : pl.DataFrame, optional
        What is usual per equipment class in the whole fleet (``fleet_levels``); else learned from these rows.

    Returns
    -------
    pl.DataFrame
        ``CHARGE_READINGS_SCHEMA``, sorted by unit_id, visit_date, visit_id.

    Notes
    -----
    Deviations are measured minus target. A superheat deviation over +5 (fixed orifice) or a subcooling deviation under
    -3 (TXV, EEV) is ``low``: low charge or a restriction. Beyond the other edge it is ``high`` only where the airflow
    was shown to be in order, else ``airflow_first``. Edges are inside.
    """
    known = limits()
    chosen = settings or Charge()
    rows = charge_inputs(visits, units, altitude_ft=altitude_ft, limits=known)
    rows = add_table_airflow(rows, blowers)
    rows = add_targets(rows, default_subcooling_f=chosen.default_target_subcooling_f, limits=known, charts=charts)
    rows = rows.with_columns(
        superheat_deviation_f=pl.col("superheat_f") - pl.col("target_superheat_f"),
        subcooling_deviation_f=pl.col("subcooling_f") - pl.col("target_subcooling_f"),
    )
    rows = add_airflow(add_uncertainty(rows, settings=chosen, limits=known), settings=chosen, limits=known)
    rows = add_verdict(add_suspect(add_not_testable(rows, known)), known)
    rows = add_charge_level(hold_back_high(add_faults(rows, levels=levels)), known)
    return rows.select(*(pl.col(name).cast(kind) for name, kind in CHARGE_READINGS_SCHEMA.items()))


def fleet_faults(readings: pl.DataFrame, *, levels: pl.DataFrame | None = None) -> pl.DataFrame:
    """Return charge readings with their likely faults judged again against the whole fleet.

    Parameters
    ----------
    readings : pl.DataFrame
        ``CHARGE_READINGS_SCHEMA``, whole history of each unit; the whole fleet where ``levels`` is left out.
    levels : pl.DataFrame, optional
        ``fleet_levels`` of the whole fleet.

    Returns
    -------
    pl.DataFrame
        Same schema, sorted by unit_id, visit_date, visit_id. What is usual for an equipment class depends on every unit
        of it, so after an increment only this makes the answers independent of the order of imports.
    """
    rows = readings.drop(*_OFF, *_FAULT)
    as_by_band = pl.when(pl.col("fits_low_airflow")).then(pl.lit("high")).otherwise("charge_verdict")
    rows = rows.with_columns(charge_verdict=as_by_band).sort("unit_id", "visit_date", "visit_id")
    judged = hold_back_high(add_faults(rows, levels=levels))
    return judged.select(*(pl.col(name).cast(kind) for name, kind in CHARGE_READINGS_SCHEMA.items()))


def hold_back_high(rows: pl.DataFrame) -> pl.DataFrame:
    """Turn ``high`` into ``airflow_first`` where the readings fit low airflow too, and say so in fits_low_airflow.

    A split inside its usual range is weak evidence: too little air also lowers superheat. Measured airflow is not.
    """
    answer = fault_model().answer
    by_thumb = pl.col("expected_from") == RULES_OF_THUMB
    limit = pl.when(by_thumb).then(answer["fits_low_airflow_by_thumb"]).otherwise(answer["fits_low_airflow"])
    fits = (
        (pl.col("charge_verdict") == "high")
        & (pl.col("p_low_airflow") >= limit)
        & ~pl.col("airflow_because").str.contains("measured airflow", literal=True)
    ).fill_null(False)
    return rows.with_columns(
        fits_low_airflow=fits,
        charge_verdict=pl.when(fits).then(pl.lit("airflow_first")).otherwise("charge_verdict"),
        next_reading=pl.when(fits).then(pl.lit(AIRFLOW_READINGS)).otherwise("next_reading"),
    )


def add_not_testable(rows: pl.DataFrame, known: Limits) -> pl.DataFrame:
    """Add not_testable_codes: every reason why the charge cannot be judged, joined by ``"; "``, or null."""
    outdoor, wet_bulb = pl.col("outdoor_db_f"), pl.col("return_wb_f")
    no_target = FIXED_ORIFICE & pl.col("computed_target_f").is_null()
    sources = pl.col("recorded_target_superheat_f").is_null() & FIXED_ORIFICE
    refrigerant_known = pl.col("refrigerant_known")
    beyond = refrigerant_known & (
        (pl.col("suction_psig").is_not_null() & pl.col("suction_saturation_f").is_null() & FIXED_ORIFICE)
        | (pl.col("liquid_psig").is_not_null() & pl.col("liquid_saturation_f").is_null() & EXPANSION_VALVE)
    )
    holds = {
        "mini_split": pl.col("equipment") == "mini_split",
        "no_refrigerant": pl.col("refrigerant").is_null(),
        "no_saturation_table": pl.col("refrigerant").is_not_null() & ~refrigerant_known,
        "no_metering": ~(FIXED_ORIFICE | EXPANSION_VALVE).fill_null(False),
        "not_cooling": pl.col("mode").is_in(["heating", "off"]),
        "mode_unknown": pl.col("mode").is_null(),
        "just_started": pl.col("minutes_running") < known.least_minutes,
        "outdoor_cold": outdoor < known.outdoor_low_f,
        "outdoor_hot": outdoor > known.outdoor_high_f,
        "no_outdoor": sources & outdoor.is_null(),
        "no_wet_bulb": sources & wet_bulb.is_null() & ~pl.col("beyond_any_humidity"),
        "wet_bulb_outside": no_target
        & ~wet_bulb.is_between(known.wet_bulb_low_f, known.wet_bulb_high_f)
        & ~pl.col("has_chart"),
        "outside_chart": no_target & pl.col("has_chart") & wet_bulb.is_not_null() & outdoor.is_not_null(),
        "target_low": pl.col("computed_target_f") < known.least_target_superheat_f,
        "pressures_crossed": pl.col("liquid_psig") <= pl.col("suction_psig"),
        "outside_saturation": beyond,
        "no_superheat": FIXED_ORIFICE & refrigerant_known & pl.col("superheat_f").is_null() & ~beyond,
        "no_subcooling": EXPANSION_VALVE & refrigerant_known & pl.col("subcooling_f").is_null() & ~beyond,
    }
    marked = add_beyond_any_humidity(rows, known)
    told = joined(marked, "not_testable_codes", [(code, holds[code]) for code in reasons() if code != INCOMPLETE])
    deviation = pl.when(FIXED_ORIFICE).then("superheat_deviation_f").otherwise("subcooling_deviation_f")
    incomplete = deviation.is_null() & ~pl.col("beyond_any_humidity") & pl.col("not_testable_codes").is_null()
    return told.with_columns(
        not_testable_codes=pl.when(incomplete).then(pl.lit(INCOMPLETE)).otherwise("not_testable_codes")
    )


def add_beyond_any_humidity(rows: pl.DataFrame, known: Limits) -> pl.DataFrame:
    """Add where superheat is beyond what the dampest return air could explain, so that no wet bulb is needed.

    The wet bulb cannot exceed the dry bulb, and the target rises with it: highest_target_f is the target then.
    beyond_any_humidity holds where the superheat is above its band with 97.5 % after the instruments' error.
    """
    dampest = pl.min_horizontal(pl.col("return_db_f"), pl.lit(known.wet_bulb_high_f))
    target = formula_target_f(dampest, pl.col("outdoor_db_f")).clip(known.least_target_superheat_f)
    unread = pl.col("return_wb_f").is_null() & pl.col("target_superheat_f").is_null() & ~pl.col("has_chart")
    outdoor_fits = pl.col("outdoor_db_f").is_between(known.outdoor_low_f, known.outdoor_high_f)
    over = pl.col("superheat_f") - target - known.superheat_band_f
    p_over = normal_cdf(over / pl.col("deviation_sd_f"))
    holds = (FIXED_ORIFICE & unread & outdoor_fits & (p_over >= 0.975)).fill_null(False)
    return rows.with_columns(
        beyond_any_humidity=holds,
        highest_target_f=pl.when(holds).then(target),
        p_charge_low=pl.when(holds).then(p_over).otherwise(pl.col("p_charge_low")),
        p_charge_high=pl.when(holds).then(0.0).otherwise(pl.col("p_charge_high")),
    )


def add_suspect(rows: pl.DataFrame) -> pl.DataFrame:
    """Add suspect: what is possible in these readings but not believable, or null."""
    raw_superheat = pl.when(pl.col("superheat_source") == "readings").then(pl.col("superheat_f"))
    cooling = pl.col("mode") == "cooling"
    cases = [
        (
            "liquid pressure at or below suction while cooling",
            cooling & (pl.col("liquid_psig") <= pl.col("suction_psig")),
        ),
        ("wet bulb over dry bulb", pl.col("return_wb_f") > pl.col("return_db_f")),
        ("suction line colder than its saturation", cooling & (raw_superheat < -pl.col("superheat_limit_f"))),
        *(
            (f"recorded {name} differs from the readings", recorded_differs(name))
            for name in ("superheat", "subcooling", "split")
        ),
    ]
    return joined(rows, "suspect", cases)


def add_verdict(rows: pl.DataFrame, known: Limits) -> pl.DataFrame:
    """Add charge_verdict, borderline, verdict_basis, flood_back and leak_loss_f.

    leak_loss_f is the deviation signed towards low charge [degF]: superheat's on a fixed orifice, minus subcooling's on
    a TXV or EEV. Deviations are compared after rounding to 0.01, so that a reading on the edge is inside.
    """
    loss = pl.when(FIXED_ORIFICE).then(pl.col("superheat_deviation_f")).otherwise(-pl.col("subcooling_deviation_f"))
    rounded = loss.round(2)
    band = pl.when(FIXED_ORIFICE).then(known.superheat_band_f).otherwise(known.subcooling_band_f)
    wide = pl.when(FIXED_ORIFICE).then(known.superheat_borderline_f).otherwise(known.subcooling_borderline_f)
    testable = pl.col("not_testable_codes").is_null()
    high = pl.when((pl.col("airflow") == "shown") & ~_looks_restricted(known)).then(pl.lit("high"))
    verdict = (
        pl.when(~testable)
        .then(pl.lit("not_testable"))
        .when(pl.col("beyond_any_humidity") | (rounded > band))
        .then(pl.lit("low"))
        .when(rounded < -band)
        .then(high.otherwise(pl.lit("airflow_first")))
        .otherwise(pl.lit("within"))
    )
    running = (pl.col("mode") == "cooling") | pl.col("mode").is_null()
    settled = pl.col("minutes_running").is_null() | (pl.col("minutes_running") >= known.least_minutes)
    return rows.with_columns(
        charge_verdict=verdict,
        verdict_basis=pl.when(testable).then(
            pl.when(pl.col("beyond_any_humidity")).then(pl.lit("beyond_any_humidity")).otherwise(pl.lit("deviation"))
        ),
        borderline=testable & rounded.abs().is_between(band, wide).fill_null(False),
        flood_back=running & settled & (pl.col("superheat_f").round(2) <= known.flood_back_f).fill_null(False),
        leak_loss_f=pl.when(testable).then(loss),
        p_charge_low=pl.when(testable).then(pl.col("p_charge_low")),
        p_charge_high=pl.when(testable).then(pl.col("p_charge_high")),
    )


def _looks_restricted(known: Limits) -> pl.Expr:
    """Much subcooling with a starved coil is a restriction, and taking refrigerant out would starve it more.

    On a fixed orifice little superheat with little subcooling is not too much refrigerant either; where superheat is
    barely low, subcooling has to be up to its usual value.
    """
    starved = EXPANSION_VALVE & (pl.col("superheat_f") > known.metering_superheat_high_f)
    reference = pl.col("plate_subcooling_f").fill_null(USUAL_SUBCOOLING_F)
    barely = pl.col("superheat_deviation_f").round(2) >= -known.superheat_borderline_f
    least = reference - pl.when(barely).then(0.0).otherwise(known.subcooling_band_f)
    empty = FIXED_ORIFICE & (pl.col("subcooling_f").round(2) < least)
    return (starved | empty).fill_null(False)
