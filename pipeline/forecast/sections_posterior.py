"""The drift model on whole fleets: sections in blocks of equal reading counts, their posterior, their future."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.forecast.priors import priors
from pipeline.forecast.sections_grid import (
    Array,
    Conditional,
    Index,
    blocks,
    condition,
    moments,
    posterior,
    probability_below,
)
from pipeline.forecast.sections_inputs import Floats, Readings
from pipeline.forecast.sections_paths import Paths

WORKING = np.float32
"""Precision of the block work: odds good to a few 1e-5, at half the time of double."""


@dataclass(frozen=True, eq=False)
class Block:
    """Sections of one reading count that share their hypotheses (origins by ratings), conditioned on their readings."""

    index: Index
    origin_year: Floats
    found: Conditional
    origins: int
    ratings: int


def condition_blocks(readings: Readings, paths: Paths, index: Index | None = None) -> Iterator[Block]:
    """Yield every section (or those of ``index``) once, conditioned on each origin and path."""
    p = priors()["drift"]
    shifts = np.asarray(p["origin"]["shifts"], dtype=np.float64)
    chosen = np.arange(len(readings.count)) if index is None else index
    sizes = readings.rating_scale.shape[1]
    for known, guessed in itertools.product((True, False), (True, False)):
        offsets, ratings = shifts[:1] if known else shifts, sizes if guessed else 1
        of_kind = chosen[(readings.known_origin[chosen] == known) & (readings.guessed_rating[chosen] == guessed)]
        for n in np.unique(readings.count[of_kind]):
            group = of_kind[readings.count[of_kind] == n]
            for part in blocks(group, (int(n) + 2) * len(offsets) * ratings * paths.table.shape[1]):
                yield _condition_block(readings, paths, part, int(n), offsets, ratings, p)


def _condition_block(
    readings: Readings, paths: Paths, part: Index, n: int, offsets: Floats, ratings: int, p: dict[str, float]
) -> Block:
    # hypotheses run over origins and, within one, over ratings
    origins = np.repeat(readings.origin_year[part, None] + offsets * readings.span_years[part, None], ratings, axis=1)
    scale = np.tile(readings.rating_scale[part, :ratings], (1, len(offsets)))
    at = readings.first[part, None] + np.arange(n)
    x = readings.x_year[at]
    last = readings.last_year[part, None] if n else x
    found = condition(
        y=((100.0 + readings.y[at])[:, None, :] * scale[:, :, None] - 100.0).astype(WORKING),
        noise_var=(readings.noise_var[at] + p["process_var_pct2_per_year"] * (last - x)).astype(WORKING),
        bad_odds=readings.bad_odds[at].astype(WORKING),
        paths=paths.at(x[:, None, :] - origins[:, :, None]),
        start_var=readings.start_var[part].astype(WORKING),
        bad_var=p["bad_reading_sd_pct"] ** 2,
    )
    return Block(part, origins, found, len(offsets), ratings)


@dataclass(frozen=True, eq=False)
class Weights:
    """Path weights by section name and origin weights."""

    paths: dict[str, Floats]
    origins: Floats

    def for_rows(self, sections: Sequence[str]) -> Floats:
        """Return one row of path weights per section named."""
        names = sorted(self.paths)
        table = np.stack([self.paths[name] for name in names])
        position = {name: i for i, name in enumerate(names)}
        return np.asarray(table[np.array([position.get(name, position["pooled"]) for name in sections])])


def predict(
    readings: Readings,
    paths: Paths,
    sections: Sequence[str],
    weights: Weights,
    at_years: Floats,
    limits_pct: Floats,
    extra_var: Floats | None = None,
) -> tuple[Floats, Floats, Floats]:
    """Return the true drift's mean and sd [%] and its chances of lying below limits, at given times.

    Parameters
    ----------
    at_years
        Times [years since the epoch], shape (times,) or (sections, times).
    limits_pct
        Limits [%], shape (sections, limits).
    extra_var
        Variance [%^2] to add to the true drift, shape (sections,): a reading's noise.

    Returns
    -------
    tuple
        mean and sd, shape (sections, times); probability, shape (sections, times, limits).
    """
    n = len(readings.count)
    times = np.broadcast_to(at_years, (n, at_years.shape[-1]))
    mean, sd = np.zeros(times.shape), np.zeros(times.shape)
    below = np.zeros((*times.shape, limits_pct.shape[1]))
    for block, p in posterior_blocks(readings, paths, sections, weights):
        i = block.index
        for t in range(times.shape[1]):
            then, variance = project(block, readings, paths, times[i, t])
            if extra_var is not None:
                variance = variance + extra_var[i, None, None].astype(WORKING)
            mean[i, t], sd[i, t] = moments(p, block.found.mean, variance, then)
            for k in range(limits_pct.shape[1]):
                below[i, t, k] = probability_below(
                    limits_pct[i, k].astype(WORKING), p, block.found.mean, variance, then
                )
    return mean, sd, below


def posterior_blocks(
    readings: Readings, paths: Paths, sections: Sequence[str], weights: Weights
) -> Iterator[tuple[Block, Array]]:
    """Yield each block with the probability of its origins and paths."""
    names = np.asarray(sections)
    for block in condition_blocks(readings, paths):
        origins = weights.origins if block.origins > 1 else np.ones(1)
        hypotheses = np.kron(origins, rating_weights(block.ratings)).astype(WORKING)
        yield (
            block,
            posterior(
                block.found.log_likelihood, weights.for_rows(names[block.index].tolist()).astype(WORKING), hypotheses
            ),
        )


def rating_weights(ratings: int) -> Floats:
    """Return the starting weights of the sizes that a rating may really be."""
    return np.asarray(priors()["drift"]["guessed_rating_weights"], dtype=np.float64) if ratings > 1 else np.ones(1)


def project(block: Block, readings: Readings, paths: Paths, at_year: Floats) -> tuple[Array, Array]:
    """Return the paths' values at a time and the level's variance by then, wander included."""
    i = block.index
    ahead = np.nan_to_num(np.maximum(at_year - readings.last_year[i], 0.0))
    wander = (priors()["drift"]["process_var_pct2_per_year"] * ahead).astype(WORKING)
    variance = block.found.variance + wander[:, None, None]
    return paths.at(at_year[:, None] - block.origin_year), variance
