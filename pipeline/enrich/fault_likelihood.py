"""How likely the readings are under each fault: published sign patterns, with the measurement noise."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from pipeline.enrich.fault_model import FEATURES, METERINGS, SLIGHT, FaultModel

Floats = NDArray[np.float64]
Kinds = Mapping[tuple[int, int], set[tuple[str, ...]]]
NODES = ((0.0, 2 / 3), (3**0.5, 1 / 6), (-(3**0.5), 1 / 6))
"""Three-point Gauss-Hermite rule: places in standard deviations, and weights."""
PAIRS = ((0, 1), (2, 3))
"""Features that share a gauge: evaporating temperature and superheat, condensing temperature and subcooling."""
SAME_WAY = (-1.0, 1.0)
"""How the gauge's error enters the second of a pair when it enters the first with +1."""
FARTHEST_SD = 6.0
"""A residual farther out than this says no more than one just there, and no density underflows."""
ROOT_TWO_PI = (2 * np.pi) ** 0.5
HEALTHY = ("healthy",)


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

    Notes
    -----
    A sign moves a reading by its size times the fault's severity, give or take half of that; readings marked slight
    move by a third of it, on most systems; where the table is silent anything goes. One gauge's error enters both
    quantities that it makes (superheat and evaporating temperature; subcooling and condensing temperature), so it is
    averaged over for the pair.
    """
    out = np.zeros((residuals.shape[1], len(model.answers)))
    in_order = _tables(residuals, sds, shared_sds, model.size_f, {pair: {HEALTHY * 2} for pair in PAIRS}, model)
    out[:, 0] = _product(in_order, HEALTHY * len(FEATURES))
    ways = [(p, signs, weight) for p in model.patterns for signs, weight in p.ways(model.effect["as_published"])]
    kinds: Kinds = {(a, b): {(signs[a], signs[b]) for _, signs, _ in ways} for a, b in PAIRS}
    for severity in model.severities:
        sizes = tuple(severity * size for size in model.size_f)
        tables = _tables(residuals, sds, shared_sds, sizes, kinds, model)
        for pattern, signs, weight in ways:
            rows = valve == (pattern.metering == METERINGS[1])
            column = model.answers.index(pattern.fault)
            out[rows, column] += weight / len(model.severities) * _product(tables, signs)[rows]
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
    effect = model.effect
    wide = _normal(x, wide_sd)
    still = _normal(x, np.sqrt(sd**2 + (effect["still_spread"] * size) ** 2))
    fails, outlier = model.answer["sign_fails"], model.answer["healthy_outlier"]
    if healthy:
        out = {HEALTHY[0]: (1.0 - outlier) * still + outlier * wide}
    else:
        move_sd = np.sqrt(sd**2 + (effect["spread"] * size) ** 2)
        up, down = _normal(x - size, move_sd), _normal(x + size, move_sd)
        little_sd, little = np.sqrt(sd**2 + (effect["slight_spread"] * size) ** 2), effect["slight_size"] * size
        bit_up, bit_down = _normal(x - little, little_sd), _normal(x + little, little_sd)
        signs = {
            "1": up,
            "-1": down,
            "0": still,
            "": wide,
            f"1{SLIGHT}": bit_up,
            f"-1{SLIGHT}": bit_down,
            "0+": 0.5 * (still + bit_up),
            "0-": 0.5 * (still + bit_down),
        }
        out = {sign: (1.0 - fails) * density + fails * wide for sign, density in signs.items()}
    for density in out.values():
        density[unread] = 1.0
    return out


def _normal(x: Floats, sd: Floats) -> Floats:
    density: Floats = np.exp(-0.5 * (x / sd) ** 2) / (sd * ROOT_TWO_PI)
    return density


def _product(tables: list[dict[tuple[str, ...], Floats]], signs: tuple[str, ...]) -> Floats:
    keys = [(signs[a], signs[b]) for a, b in PAIRS] + [(sign,) for sign in signs[4:]]
    out = np.ones(len(next(iter(tables[0].values()))))
    for table, key in zip(tables, keys, strict=True):
        out = out * table[key]
    return out
