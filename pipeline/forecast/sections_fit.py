"""Learning the drift model from every capacitor the shop ever read, the replaced ones included."""

from __future__ import annotations

import datetime as dt
import zlib

import numpy as np
import polars as pl
from scipy.special import logsumexp

from pipeline.forecast.history import History
from pipeline.forecast.params import SectionParams
from pipeline.forecast.priors import priors
from pipeline.forecast.sections_inputs import (
    Floats,
    Index,
    SectionRows,
    median_age_at_first_visit,
    section_rows,
    year_of,
)
from pipeline.forecast.sections_noise import fit_noise, reading_arrays
from pipeline.forecast.sections_paths import default_paths
from pipeline.forecast.sections_posterior import Block, Weights, condition_blocks, rating_weights

POOLED = "pooled"


def fit_sections(history: History, through: dt.date) -> SectionParams:
    """Return the drift model's parameters.

    Parameters
    ----------
    history
        Tidy frames, cut at ``through``.
    through
        The last day whose rows count.

    Notes
    -----
    Only the mixture weights are learned, by expectation maximisation over all series: w is proportional to
    the summed posteriors plus n0 times the prior, so no series at all gives the prior. The pooled weights
    are then the prior of each section's own.
    """
    age = median_age_at_first_visit(history.units)
    rows = section_rows(history, age, stand_ins=False)
    noise = fit_noise(rows)
    readings = reading_arrays(rows, noise)
    sample = training_sample(rows)
    log_l = [(block.index, _over_ratings(block)) for block in condition_blocks(readings, default_paths(), sample)]
    p = priors()["drift"]
    start = default_paths().weights
    origin_start = np.asarray(p["origin"]["weights"], dtype=np.float64)
    pooled, origins = maximise(log_l, start, origin_start, float(p["paths"]["pseudo_series"]))
    weights = {POOLED: pooled}
    names = rows.series["section"].to_numpy()
    for section in ("herm", "fan", "blower"):
        own = [(i[names[i] == section], ll[names[i] == section]) for i, ll in log_l]
        if sum(len(i) for i, _ in own):
            weights[section], _ = maximise(own, pooled, origins, float(p["paths"]["section_pseudo_series"]))
    return SectionParams(
        noise=noise,
        path_weights={name: tuple(float(v) for v in w) for name, w in weights.items()},
        origin_weights=tuple(float(v) for v in origins),
        age_at_first_visit_years=age,
        open_rate_per_year=_open_rate(history, rows, through),
        recalibration=(0.0, 1.0),
        recalibration_pairs=0,
        series=len(sample),
    )


def weights_of(params: SectionParams) -> Weights:
    """Return the stored weights as arrays."""
    return Weights(
        {name: np.asarray(w, dtype=np.float64) for name, w in params.path_weights.items()},
        np.asarray(params.origin_weights, dtype=np.float64),
    )


def training_sample(rows: SectionRows) -> Index:
    """Return the series to learn from: all with a reading, or those of the units a fixed digest picks."""
    read = np.flatnonzero(rows.series["n"].to_numpy() > 0)
    most = int(priors()["drift"]["paths"]["training_series"])
    if len(read) <= most:
        return read
    digest = {name: zlib.crc32(name.encode()) for name in rows.series["unit_id"].unique().to_list()}
    order = rows.series["unit_id"].replace_strict(digest, return_dtype=pl.Int64).to_numpy()[read]
    return np.sort(read[np.argsort(order, kind="stable")[:most]])


def _over_ratings(block: Block) -> Floats:
    """Return the log-likelihood by origin and path, the ratings weighed out."""
    log_l = block.found.log_likelihood.astype(np.float64)
    if block.ratings == 1:
        return log_l
    by = log_l.reshape(len(log_l), block.origins, block.ratings, -1)
    return np.asarray(logsumexp(by, axis=2, b=rating_weights(block.ratings)[None, None, :, None]))


def maximise(
    log_l: list[tuple[Index, Floats]], start: Floats, origin_start: Floats, pseudo: float
) -> tuple[Floats, Floats]:
    """Return path and origin weights by expectation maximisation.

    Parameters
    ----------
    log_l
        Positions and log-likelihoods by origin and path, shape (series, origins, paths), in any number of parts.
    start, origin_start
        Prior weights; they count as ``pseudo`` series, and the origins' as the priors' pseudo-series.
    """
    p = priors()["drift"]
    likelihoods = [np.exp(ll - ll.max(axis=(1, 2), keepdims=True)) for i, ll in log_l if len(i)]
    paths, origins = start, origin_start
    for _ in range(int(p["paths"]["iterations"])):
        path_sum = pseudo * start
        origin_sum = float(p["origin"]["pseudo_series"]) * origin_start
        for likelihood in likelihoods:
            many = likelihood.shape[1] > 1
            weighted = likelihood * paths * (origins if many else np.ones(1))[None, :, None]
            weighted /= weighted.sum(axis=(1, 2), keepdims=True)
            path_sum = path_sum + weighted.sum(axis=(0, 1))
            if many:
                origin_sum = origin_sum + weighted.sum(axis=(0, 2))
        paths, origins = path_sum / path_sum.sum(), origin_sum / origin_sum.sum()
    return paths, origins


def _open_rate(history: History, rows: SectionRows, through: dt.date) -> float:
    """Sections found open or short per section-year, shrunk; drift before them is not looked at."""
    p = priors()["drift"]
    opens = (
        history.cap_readings.filter(pl.col("drift_pct") <= -float(p["event_beyond_pct"]))
        .select("unit_id", "section", "series")
        .unique()
        .height
    )
    since = pl.max_horizontal("origin_year", pl.col("last_year").fill_null(year_of(through)) - 30)
    seen = rows.series.filter(pl.col("n") > 0).select(
        (pl.min_horizontal(pl.col("last_year"), pl.lit(year_of(through))) - since).clip(0, 30).sum()
    )
    pseudo = float(p["open"]["pseudo_years"])
    exposure = float(seen.item() or 0.0)
    return (opens + pseudo * float(p["open"]["rate_per_year"])) / (exposure + pseudo)
