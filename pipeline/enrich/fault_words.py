"""What led to an answer, and the one further reading that would settle it."""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.enrich.expected import Residuals
from pipeline.enrich.fault_model import CANNOT_TELL, FEATURE_WORDS, FEATURES, METERINGS, NO_FAULT, FaultModel
from pipeline.enrich.not_testable import has_reason, reasons

Floats = NDArray[np.float64]
Places = NDArray[np.intp]
SIGN_VALUE = {"1": 1.0, "0+": 0.5, "0": 0.0, "": 0.0, "0-": -0.5, "-1": -1.0}
SURE = 0.9
IN_QUESTION = 0.1
"""A second fault this probable is what an answer is to be told from, even where "no fault" is more so."""
AGAIN = "the same readings again after 15 minutes"
AIRFLOW_READINGS = "static_in_wc and airflow_cfm"


def add_fault_words(rows: pl.DataFrame, posterior: Floats, residuals: Residuals, model: FaultModel) -> pl.DataFrame:
    """Add fault_because, runner_up and next_reading.

    Parameters
    ----------
    rows : pl.DataFrame
        With likely_fault, expected_from, charge_verdict, not_testable_codes, metering.
    posterior : array, rows x answers
        NaN where no fault was judged.
    residuals : Residuals
        Same rows.
    model : FaultModel
        Patterns and readings.

    Returns
    -------
    pl.DataFrame
        Rows kept. fault_because lists the readings that moved with the answer; runner_up is the answer that the named
        fault is to be told from; next_reading is what is missing for a test, else what would show the airflow, else
        what tells the answer from the runner-up; null in good order.
    """
    named = ~pl.col("likely_fault").is_in([NO_FAULT, CANNOT_TELL])
    first, second = _first_and_second(posterior, rows.select(named.fill_null(False)).to_series().to_numpy())
    separating = pl.Series("_separating", _separating(rows, posterior, (first, second), residuals, model))
    return (
        _because(rows, residuals)
        .with_columns(separating, _second=pl.Series(model.answers).gather(second))
        .with_columns(next_reading=_next_reading(), runner_up=pl.when(named).then("_second"))
        .drop("_separating", "_second")
    )


def _first_and_second(posterior: Floats, named: NDArray[np.bool_]) -> tuple[Places, Places]:
    """Return the answer per row, and what it is to be told from: another fault where one is in question."""
    p = np.nan_to_num(posterior)
    first = np.where(named, p[:, 1:].argmax(axis=1) + 1, p.argmax(axis=1))
    rows = np.arange(len(p))
    p[rows, first] = -1.0
    fault = p[:, 1:].argmax(axis=1) + 1
    in_question = (first > 0) & (p[rows, fault] >= IN_QUESTION)
    return first, np.where(in_question, fault, p.argmax(axis=1))


def _because(rows: pl.DataFrame, residuals: Residuals) -> pl.DataFrame:
    named = pl.col("likely_fault").is_not_null() & ~pl.col("likely_fault").is_in([NO_FAULT])
    at = rows.select(named.fill_null(False)).to_series()
    moved = np.abs(residuals.values) >= residuals.sds
    shown = np.where(moved, residuals.values, np.nan)[:, at.to_numpy()]
    part = pl.DataFrame({f: pl.Series(shown[i]).fill_nan(None) for i, f in enumerate(FEATURES)})
    texts = [
        pl.when(pl.col(f).is_not_null()).then(
            pl.format(
                f"{FEATURE_WORDS[f]} {{}}{{}} degF",
                pl.when(pl.col(f) > 0).then(pl.lit("+")).otherwise(pl.lit("")),
                pl.col(f).round(1),
            )
        )
        for f in FEATURES
    ]
    because = part.select(pl.concat_str(texts, separator=", ", ignore_nulls=True)).to_series()
    out = pl.Series("fault_because", [None], dtype=pl.String).new_from_index(0, len(rows))
    out = out.scatter(at.arg_true(), because)
    moved_at_all = (pl.col("fault_because") != "").fill_null(False)
    return rows.with_columns(out).with_columns(
        fault_because=pl.when(moved_at_all).then(pl.col("fault_because") + " against " + pl.col("expected_from"))
    )


def _next_reading() -> pl.Expr:
    asking = sorted((r for r in reasons().values() if r.asked is not None), key=lambda r: r.asked or 0)
    missing = pl.coalesce(pl.when(has_reason([r.code])).then(pl.lit(r.next_reading)) for r in asking)
    airflow = pl.when((pl.col("charge_verdict") == "airflow_first") & pl.col("airflow_cfm").is_null()).then(
        pl.lit(AIRFLOW_READINGS)
    )
    return pl.coalesce(missing, airflow, pl.col("_separating"))


def _separating(
    rows: pl.DataFrame, posterior: Floats, answers: tuple[Places, Places], residuals: Residuals, model: FaultModel
) -> pl.Series:
    """Return what tells the likeliest answer from the runner-up: an unread feature first, else a further test."""
    judged = np.isfinite(posterior[:, 0])
    first, second = answers
    valve = rows.select(pl.col("metering").is_in(["txv", "eev"]).fill_null(False)).to_series().to_numpy().astype(int)
    easiest = [FEATURES.index(f) for f in model.reading]
    apart = _apart(model)[:, :, :, easiest]
    unread = ~np.isfinite(residuals.values[easiest].T)
    gain = apart[valve, first, second] * unread
    best = gain.argmax(axis=1)
    texts = [*model.reading.values(), *model.separate.values(), AGAIN]
    number_of = {pair: len(model.reading) + k for k, pair in enumerate(model.separate)}
    tests = np.full((len(model.answers),) * 2, len(texts) - 1)
    for pair, number in number_of.items():
        a, b = (model.answers.index(name) for name in pair)
        tests[a, b] = tests[b, a] = number
    code = np.where(gain.max(axis=1) >= 1.0, best, tests[first, second])
    sure = (first == 0) & (np.nan_to_num(posterior[:, 0]) >= SURE)
    return pl.Series(texts).gather(code).set(pl.Series(~judged | sure), None)


def _apart(model: FaultModel) -> Floats:
    """Return, per kind of metering device, how far apart two answers put each feature (0 to 2)."""
    signs = np.zeros((len(METERINGS), len(model.answers), len(FEATURES)))
    for p in model.patterns:
        values = np.asarray([SIGN_VALUE[s] for s in p.signs])
        signs[METERINGS.index(p.metering), model.answers.index(p.fault)] += p.weight * values
    return np.abs(signs[:, :, None, :] - signs[:, None, :, :])
