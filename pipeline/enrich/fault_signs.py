"""Which fault fits the readings, how sure that is, and what speaks for it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.enrich.expected import FLEET_CLASS, LEVELS_SCHEMA, OWN_HISTORY, RULES_OF_THUMB, Residuals
from pipeline.enrich.fault_model import CANNOT_TELL, FEATURES, OFF_COLUMNS, FaultModel, fault_model
from pipeline.enrich.fault_odds import evidence_of, posterior
from pipeline.enrich.fault_words import add_fault_words
from pipeline.enrich.fleet_levels import fleet_levels, share_of

Floats = NDArray[np.float64]
SURE_OUTSIDE = 0.8
"""From this probability on a deviation counts as outside its band for certain."""
SAYINGS = ("rises", "falls", "stays")
SAID: Mapping[str, tuple[str, ...]] = {
    "1": ("rises",),
    "-1": ("falls",),
    "0": ("stays",),
    "0+": ("rises", "stays"),
    "0-": ("falls", "stays"),
    "": (),
}
SIGN_SCHEMA: Mapping[str, pl.DataType] = {name: pl.String() for name in ("metering", "fault", "reading", "table_says")}
"""Metering as ``fixed_orifice`` or ``expansion_valve``; reading is a column of the charge readings; null: no word."""


def add_faults(rows: pl.DataFrame, *, levels: pl.DataFrame | None = None) -> pl.DataFrame:
    """Add the likely fault, how probable it is, what it is to be told from and how; how far readings are off.

    Parameters
    ----------
    rows : pl.DataFrame
        Judged readings, whole history of each unit, sorted by unit_id, visit_date, visit_id.
    levels : pl.DataFrame, optional
        ``fleet_levels`` of the whole fleet; learned from ``rows`` when left out.

    Returns
    -------
    pl.DataFrame
        Rows kept; added: likely_fault, p_fault, p_low_airflow, expected_from and what ``add_fault_words`` adds.
        likely_fault is a fault, ``no_fault`` or ``cannot_tell``; null where a fault cannot be judged at all.
        p_fault is the probability of the likeliest fault, which is small where there is none. ``OFF_COLUMNS`` say what
        the answer rests on: actual minus expected per reading, and its standard deviation [degF]; null where not read.

    Notes
    -----
    Which answer is given depends on the readings and on the model's own odds, so that the same readings get the same
    answer in every fleet; how probable it is depends on how many visits of this fleet show a fault. p_low_airflow is
    at the model's own odds.
    """
    model = fault_model()
    known = fleet_levels(rows) if levels is None else levels.select(LEVELS_SCHEMA.keys())
    evidence = evidence_of(rows, known, model)
    by_readings = posterior(evidence, model)
    in_fleet = posterior(evidence, model, share_of(known))
    answered = _answered(rows, by_readings, in_fleet, evidence.residuals, model)
    return add_fault_words(answered, by_readings, evidence.residuals, model)


def _clearly_outside() -> pl.Expr:
    beyond = pl.max_horizontal("p_charge_low", "p_charge_high") >= SURE_OUTSIDE
    return pl.col("charge_verdict").is_in(["low", "high", "airflow_first"]) & beyond


def _answered(
    rows: pl.DataFrame, by_readings: Floats, in_fleet: Floats, residuals: Residuals, model: FaultModel
) -> pl.DataFrame:
    """Add likely_fault, p_fault and expected_from."""
    judged = np.isfinite(by_readings[:, 0])
    best = np.where(judged[:, None], by_readings[:, 1:], 0.0).argmax(axis=1) + 1
    p_best = in_fleet[np.arange(len(best)), best]
    healthy = np.where(judged, by_readings[:, 0], 1.0)
    enough = np.isfinite(residuals.values).sum(axis=0) >= 2
    limit = np.where(residuals.own > 0, model.answer["at_most_no_fault_own"], model.answer["at_most_no_fault"])
    named = enough & (healthy <= limit) & (p_best >= model.answer["at_least_fault"])
    code = np.where(named, best, np.where(enough & (healthy >= 0.5), 0, len(model.answers)))
    # readings clearly outside the band are not "no fault", whatever the other features say
    outside = rows.select(_clearly_outside().fill_null(False)).to_series().to_numpy()
    code = np.where((code == 0) & outside, len(model.answers), code)
    words = pl.Series([*model.answers, CANNOT_TELL])
    return (
        rows.with_columns(
            pl.Series("likely_fault", words.gather(code)).set(pl.Series(~judged), None),
            pl.Series("p_fault", np.where(judged, p_best, np.nan)).fill_nan(None),
            pl.Series("p_low_airflow", by_readings[:, model.answers.index("low_indoor_airflow")]).fill_nan(None),
            *_off(residuals, judged),
            pl.Series("_own", residuals.own),
            pl.Series("_learned", residuals.learned),
        )
        .with_columns(
            expected_from=pl.when(pl.col("likely_fault").is_not_null()).then(
                pl.when(pl.col("_own") > 0)
                .then(pl.lit(OWN_HISTORY))
                .when(pl.col("_learned"))
                .then(pl.lit(FLEET_CLASS))
                .otherwise(pl.lit(RULES_OF_THUMB))
            )
        )
        .drop("_own", "_learned")
    )


def _off(residuals: Residuals, judged: NDArray[np.bool_]) -> list[pl.Series]:
    """Return the columns of ``OFF_COLUMNS``, null where no fault was judged or the reading was not taken."""
    read = np.isfinite(residuals.values) & judged
    return [
        pl.Series(f"{OFF_COLUMNS[feature]}{ending}", np.where(read[i], numbers[i], np.nan)).fill_nan(None)
        for i, feature in enumerate(FEATURES)
        for ending, numbers in (("_f", residuals.values), ("_sd_f", residuals.sds))
    ]


def fault_sign_table() -> pl.DataFrame:
    """Return the sign table in words: per metering device, fault and reading what it does (``SIGN_SCHEMA``)."""
    model = fault_model()
    ways: dict[tuple[str, str, str], set[str]] = {}
    for pattern in model.patterns:
        for feature, sign in zip(FEATURES, pattern.signs, strict=True):
            key = (pattern.metering, pattern.fault, f"{OFF_COLUMNS[feature]}_f")
            ways.setdefault(key, set()).update(SAID[sign])
    rows = [(*key, " or ".join(word for word in SAYINGS if word in found) or None) for key, found in ways.items()]
    return pl.DataFrame(rows, schema=dict(SIGN_SCHEMA), orient="row")
