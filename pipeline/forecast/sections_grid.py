"""One section, one path: closed-form likelihood and level, with at most one bad reading; done for many at once."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

Array = npt.NDArray[np.floating]
Index = npt.NDArray[np.int64]

BLOCK_CELLS = 500_000
"""Cells of one block: small enough for a processor's cache, large enough that Python's share is small."""


STEPS_PER_SD = 2048
Z_END = 7.0
NORMAL = ndtr((np.arange(2 * int(Z_END) * STEPS_PER_SD + 1) + 0.5) / STEPS_PER_SD - Z_END).astype(np.float32)
"""The normal distribution function at the middle of each step, from -7 to 7."""


@dataclass(frozen=True, eq=False)
class Conditional:
    """Per section, hypothesis and path: log-likelihood, and mean and variance of the level at the last reading."""

    log_likelihood: Array
    mean: Array
    variance: Array


def condition(
    y: Array, noise_var: Array, bad_odds: Array, paths: Array, start_var: Array, bad_var: float
) -> Conditional:
    """Return likelihood and level of sections that have the same number of readings.

    Parameters
    ----------
    y
        Readings [% of rating], shape (sections, hypotheses, readings); a hypothesis is an origin and a rating.
    noise_var
        Variance of each reading about the path [%^2], shape (sections, readings).
    bad_odds
        Probability that the reading is a bad one, same shape.
    paths
        Path values at the readings [%], shape (sections, hypotheses, readings, paths).
    start_var
        Variance of a new part about its rating [%^2], shape (sections,).
    bad_var
        Variance added to a bad reading [%^2].

    Notes
    -----
    y_j = a + g(x_j) + e_j with a ~ N(0, start_var), e_j ~ N(0, noise_var_j):
    P = sum W + 1 / start_var, m = sum W R / P, and
    log L = -1/2 (sum W R^2 - m^2 P) + 1/2 sum log W - 1/2 log(P start_var), up to a constant.
    "Reading j is bad" adds bad_var to its variance, which only changes the three sums.
    """
    n = y.shape[2]
    origins, count = paths.shape[1], paths.shape[3]
    prior_precision = (1.0 / start_var)[:, None, None]
    log_start = np.log(start_var)[:, None, None]
    if n == 0:
        shape = (len(y), origins, count)
        zero = np.zeros(shape, dtype=y.dtype)
        return Conditional(zero, zero, np.broadcast_to(start_var[:, None, None], shape).astype(y.dtype))
    residual = y[:, :, :, None] - paths
    good = 1.0 / noise_var
    weak = 1.0 / (noise_var + bad_var)
    sum_w = good.sum(axis=1)
    sum_wr = np.einsum("nj,nojk->nok", good, residual)
    sum_wrr = np.einsum("nj,nojk->nok", good, residual * residual)
    log_odds = np.log(bad_odds) - np.log1p(-bad_odds)

    def one(precision: Array, wr: Array, wrr: Array, constant: Array) -> tuple[Array, Array, Array]:
        total = precision[:, None, None] + prior_precision
        level = wr / total
        log_l = -0.5 * (wrr - level * wr) - 0.5 * (np.log(total) + log_start) + constant[:, None, None]
        return log_l, level, 1.0 / total

    base = 0.5 * np.log(good).sum(axis=1) + np.log1p(-bad_odds).sum(axis=1)
    cases = [one(sum_w, sum_wr, sum_wrr, base)]
    for j in range(n):
        delta = weak[:, j] - good[:, j]
        r = residual[:, :, j, :]
        shift = delta[:, None, None]
        constant = base + 0.5 * (np.log(weak[:, j]) - np.log(good[:, j])) + log_odds[:, j]
        cases.append(one(sum_w + delta, sum_wr + shift * r, sum_wrr + shift * r * r, constant))
    return _collapse(cases)


def _collapse(cases: list[tuple[Array, Array, Array]]) -> Conditional:
    """Return the mixture over "none bad" and "j bad" as one normal with the same mean and variance."""
    top = np.maximum.reduce([case[0] for case in cases])
    total = np.zeros_like(top)
    first = np.zeros_like(top)
    second = np.zeros_like(top)
    for log_l, level, variance in cases:
        weight = np.exp(log_l - top)
        total += weight
        first += weight * level
        second += weight * (level * level + variance)
    mean = first / total
    return Conditional(top + np.log(total), mean, np.maximum(second / total - mean * mean, 1e-9))


def posterior(log_likelihood: Array, path_weights: Array, hypothesis_weights: Array) -> Array:
    """Return the probability of every hypothesis and path; ``path_weights`` is (paths,) or (sections, paths)."""
    weights = path_weights[:, None, :] if path_weights.ndim == 2 else path_weights[None, None, :]
    log_p = (
        log_likelihood
        + np.log(np.maximum(weights, 1e-12))
        + np.log(np.maximum(hypothesis_weights, 1e-12))[None, :, None]
    )
    log_p = log_p - log_p.max(axis=(1, 2), keepdims=True)
    p = np.exp(log_p)
    return np.asarray(p / p.sum(axis=(1, 2), keepdims=True))


def probability_below(limit: Array, p: Array, mean: Array, variance: Array, paths_then: Array) -> Array:
    """Return the probability that the true drift lies below ``limit`` [%], one per section."""
    z = (limit[:, None, None] - mean - paths_then) / np.sqrt(variance)
    return np.asarray(np.einsum("nok,nok->n", p, normal_below(z)))


def normal_below(z: Array) -> Array:
    """Return the standard normal distribution function from a table, good to 1e-4 and never falling."""
    index = np.clip(z, -Z_END, Z_END)
    index += Z_END
    index *= STEPS_PER_SD
    return np.asarray(NORMAL[index.astype(np.int32)])


def moments(p: Array, mean: Array, variance: Array, paths_then: Array) -> tuple[Array, Array]:
    """Return mean and standard deviation of the true drift [%], one per section."""
    level = mean + paths_then
    first = (p * level).sum(axis=(1, 2))
    second = (p * (variance + (level - first[:, None, None]) ** 2)).sum(axis=(1, 2))
    return np.asarray(first), np.asarray(np.sqrt(second))


def blocks(index: Index, cells_each: int) -> Iterator[Index]:
    """Split the positions so that a block holds about ``BLOCK_CELLS`` cells."""
    size = max(1, BLOCK_CELLS // max(1, cells_each))
    for start in range(0, len(index), size):
        yield index[start : start + size]
