"""Which fault fits the readings: published sign patterns, scored as a likelihood with the measurement noise."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.special import ndtr

from pipeline.enrich.charge_targets import EXPANSION_VALVE, FIXED_ORIFICE
from pipeline.enrich.expected import (
    FLEET_CLASS,
    LEVELS_SCHEMA,
    OWN_HISTORY,
    RULES_OF_THUMB,
    Residuals,
    class_levels,
    residuals_of,
)
from pipeline.enrich.fault_model import CANNOT_TELL, FEATURES, METERINGS, OFF_COLUMNS, FaultModel, fault_model
from pipeline.enrich.fault_words import add_fault_words

Floats = NDArray[np.float64]
Kinds = Mapping[tuple[int, int], set[tuple[str, ...]]]
CHUNK = 100_000
NODES = ((0.0, 2 / 3), (3**0.5, 1 / 6), (-(3**0.5), 1 / 6))
"""Three-point Gauss-Hermite rule: places in standard deviations, and weights."""
PAIRS = ((0, 1), (2, 3))
"""Features that share a gauge: evaporating temperature and superheat, condensing temperature and subcooling."""
SAME_WAY = (-1.0, 1.0)
"""How the gauge's error enters the second of a pair when it enters the first with +1."""
FARTHEST_SD = 6.0
"""A residual farther out than this says no more than one just there, and no density underflows."""
SURE_OUTSIDE = 0.8
"""From this probability on a deviation counts as outside its band for certain."""
ROOT_TWO_PI = (2 * np.pi) ** 0.5
HEALTHY = ("healthy",)
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
    """Add likely_fault, p_fault, p_low_airflow, fault_because, expected_from, next_reading; how far readings are off.

    Parameters
    ----------
    rows : pl.DataFrame
        Judged readings, whole history of each unit, sorted by unit_id, visit_date, visit_id.
    levels : pl.DataFrame, optional
        ``LEVELS_SCHEMA`` of the whole fleet; learned from ``rows`` when left out.

    Returns
    -------
    pl.DataFrame
        Rows kept. likely_fault is a fault, ``no_fault`` or ``cannot_tell``; null where a fault cannot be judged at all.
        p_fault is the probability of the likeliest fault, which is small where there is none. ``OFF_COLUMNS`` say what
        the answer rests on: actual minus expected per reading, and its standard deviation [degF]; null where not read.

    Notes
    -----
    Each reading's deviation from what is expected is scored under each fault's sign: half-normal sizes for a sign,
    none for 0, a wide normal where the table is silent, each with the noise of reading and expectation; the sizes of
    all readings are those of a slight fault together, or of a full-grown one. One gauge's
    error enters both quantities that it makes (superheat and evaporating temperature; subcooling and condensing
    temperature), so it is averaged over for the pair.
    """
    model = fault_model()
    judged = rows.select(_usable()).to_series().fill_null(False).to_numpy()
    known = class_levels(rows) if levels is None else levels.select(LEVELS_SCHEMA.keys())
    residuals = residuals_of(rows, known, model)
    posterior = np.full((len(rows), len(model.answers)), np.nan)
    at = np.flatnonzero(judged)
    shared = rows.select("suction_saturation_sd_f", "liquid_saturation_sd_f").to_numpy().T
    valve = rows.select(EXPANSION_VALVE.fill_null(False)).to_series().to_numpy()
    seen = _seen_odds(rows, model)
    for first in range(0, at.size, CHUNK):
        part = at[first : first + CHUNK]
        likelihood = fault_likelihoods(
            residuals.values[:, part], residuals.sds[:, part], shared[:, part], valve[part], model
        )
        odds = likelihood * np.asarray([model.prior[a] for a in model.answers]) * seen[part]
        posterior[part] = odds / odds.sum(axis=1, keepdims=True)
    return add_fault_words(_answered(rows, posterior, residuals, model), posterior, residuals, model)


def fault_likelihoods(
    residuals: Floats, sds: Floats, shared_sds: Floats, valve: NDArray[np.bool_], model: FaultModel
) -> Floats:
    """Return the likelihood of the residuals under each answer.

    Parameters
    ----------
    residuals, sds : array, 7 x rows
        Actual minus expected in the order of ``FEATURES``, NaN where not read, and its standard deviation [degF].
    shared_sds : array, 2 x rows
        The part of it that is the suction gauge's, and the liquid gauge's [degF].
    valve : array, rows
        Whether the metering device is a TXV or EEV.
    model : FaultModel
        Patterns and sizes.

    Returns
    -------
    array, rows x answers
        In the order of ``model.answers``.
    """
    out = np.zeros((residuals.shape[1], len(model.answers)))
    in_order = _tables(residuals, sds, shared_sds, model.size_f, {pair: {HEALTHY * 2} for pair in PAIRS}, model)
    out[:, 0] = _product(in_order, HEALTHY * len(FEATURES))
    kinds: Kinds = {(a, b): {(p.signs[a], p.signs[b]) for p in model.patterns} for a, b in PAIRS}
    for severity in model.severities:
        sizes = tuple(severity * size for size in model.size_f)
        tables = _tables(residuals, sds, shared_sds, sizes, kinds, model)
        for pattern in model.patterns:
            rows = valve == (pattern.metering == METERINGS[1])
            column = model.answers.index(pattern.fault)
            weight = pattern.weight / len(model.severities)
            out[rows, column] += weight * _product(tables, pattern.signs)[rows]
    return out


def _tables(
    residuals: Floats,
    sds: Floats,
    shared_sds: Floats,
    sizes: tuple[float, ...],
    kinds: Kinds,
    model: FaultModel,
) -> list[dict[tuple[str, ...], Floats]]:
    """Return the likelihood of each pair of features under each of its ``kinds``, then of each single feature."""
    tables: list[dict[tuple[str, ...], Floats]] = []
    healthy = all(found == {HEALTHY * 2} for found in kinds.values())
    for k, pair in enumerate(PAIRS):
        both = list(pair)
        share = np.minimum(shared_sds[k], 0.7 * sds[both].min(axis=0))
        own = np.sqrt(np.maximum(sds[both] ** 2 - share**2, 0.05))
        pair_sizes = (sizes[pair[0]], sizes[pair[1]])
        tables.append(_pair(residuals[both], own, share, SAME_WAY[k], pair_sizes, kinds[pair], healthy, model))
    for i in range(4, len(FEATURES)):
        single = _feature(residuals[i], sds[i], sizes[i], healthy, model)
        tables.append({(sign,): density for sign, density in single.items()})
    return tables


def _pair(
    residuals: Floats,
    own: Floats,
    shared: Floats,
    same_way: float,
    sizes: tuple[float, float],
    kinds: set[tuple[str, ...]],
    healthy: bool,
    model: FaultModel,
) -> dict[tuple[str, ...], Floats]:
    """Average the two features' likelihoods over the error of the gauge that both are made from."""
    out = {kind: np.zeros(residuals.shape[1]) for kind in kinds}
    for place, weight in NODES:
        error = place * shared
        first = _feature(residuals[0] - error, own[0], sizes[0], healthy, model)
        second = _feature(residuals[1] - same_way * error, own[1], sizes[1], healthy, model)
        for a, b in kinds:
            out[(a, b)] += weight * first[a] * second[b]
    return out


def _feature(r: Floats, sd: Floats, size: float, healthy: bool, model: FaultModel) -> dict[str, Floats]:
    """Return the density of one residual in good order, or under each sign; 1 everywhere for a reading not taken."""
    unread = ~np.isfinite(r)
    wide_sd = np.sqrt(sd**2 + size**2)
    x = np.clip(np.where(unread, 0.0, r), -FARTHEST_SD * wide_sd, FARTHEST_SD * wide_sd)
    wide = np.exp(-0.5 * (x / wide_sd) ** 2) / (wide_sd * ROOT_TWO_PI)
    still_sd = np.sqrt(sd**2 + (0.15 * size) ** 2)
    still = np.exp(-0.5 * (x / still_sd) ** 2) / (still_sd * ROOT_TWO_PI)
    fails, outlier = model.answer["sign_fails"], model.answer["healthy_outlier"]
    if healthy:
        out = {HEALTHY[0]: (1.0 - outlier) * still + outlier * wide}
    else:
        up_share = ndtr(size * x / (sd * wide_sd))
        up, down = 2.0 * wide * up_share, 2.0 * wide * (1.0 - up_share)
        signs = {"1": up, "-1": down, "0": still, "0+": 0.5 * (still + up), "0-": 0.5 * (still + down), "": wide}
        out = {sign: (1.0 - fails) * density + fails * wide for sign, density in signs.items()}
    for density in out.values():
        density[unread] = 1.0
    return out


def _product(tables: list[dict[tuple[str, ...], Floats]], signs: tuple[str, ...]) -> Floats:
    keys = [(signs[a], signs[b]) for a, b in PAIRS] + [(sign,) for sign in signs[4:]]
    out = np.ones(len(next(iter(tables[0].values()))))
    for table, key in zip(tables, keys, strict=True):
        out = out * table[key]
    return out


def _usable() -> pl.Expr:
    """Where a fault can be judged: cooling, settled, a known refrigerant, and a metering device the table covers."""
    blocked = (
        "mini split",
        "not cooling",
        "not known whether",
        "minutes running",
        "refrigerant",
        "outdoor",
        "at or below suction",
    )
    reason = pl.col("not_testable_because").fill_null("")
    return (FIXED_ORIFICE | EXPANSION_VALVE) & ~reason.str.contains_any(list(blocked))


def _clearly_outside() -> pl.Expr:
    beyond = pl.max_horizontal("p_charge_low", "p_charge_high") >= SURE_OUTSIDE
    return pl.col("charge_verdict").is_in(["low", "high", "airflow_first"]) & beyond


def _seen_odds(rows: pl.DataFrame, model: FaultModel) -> Floats:
    out = np.ones((len(rows), len(model.answers)))
    for word, factors in model.seen.items():
        at = rows.get_column("observations").str.contains(word, literal=True).fill_null(False).to_numpy()
        for fault, factor in factors.items():
            out[at, model.answers.index(fault)] *= factor
    return out


def _answered(rows: pl.DataFrame, posterior: Floats, residuals: Residuals, model: FaultModel) -> pl.DataFrame:
    """Add likely_fault, p_fault and expected_from."""
    judged = np.isfinite(posterior[:, 0])
    faults = np.where(judged[:, None], posterior[:, 1:], 0.0)
    best, p_best = faults.argmax(axis=1) + 1, faults.max(axis=1)
    healthy = np.where(judged, posterior[:, 0], 1.0)
    enough = np.isfinite(residuals.values).sum(axis=0) >= 2
    named = enough & (healthy <= model.answer["at_most_no_fault"]) & (p_best >= model.answer["at_least_fault"])
    code = np.where(named, best, np.where(enough & (healthy >= 0.5), 0, len(model.answers)))
    # readings clearly outside the band are not "no fault", whatever the other features say
    outside = rows.select(_clearly_outside().fill_null(False)).to_series().to_numpy()
    code = np.where((code == 0) & outside, len(model.answers), code)
    words = pl.Series([*model.answers, CANNOT_TELL])
    return (
        rows.with_columns(
            pl.Series("likely_fault", words.gather(code)).set(pl.Series(~judged), None),
            pl.Series("p_fault", np.where(judged, p_best, np.nan)).fill_nan(None),
            pl.Series("p_low_airflow", posterior[:, model.answers.index("low_indoor_airflow")]).fill_nan(None),
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
