"""What a reading is worth: noise and bias by method, bias and copied ratings by technician."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.enrich.capacitor_facts import capacitor_facts
from pipeline.forecast.params import NoiseParams
from pipeline.forecast.priors import priors
from pipeline.forecast.sections_inputs import COPIED_WITHIN_PCT, Readings, SectionRows

Floats = npt.NDArray[np.float64]

METHODS = ("bench", "under_load", "from_notes")
MAD_TO_SD = 1.4826
"""Standard deviation of a normal law over its median absolute deviation, 1 / 0.6745."""
SLOPE_PAIR_YEARS = (0.6, 2.4)
NOISE_PAIR_YEARS = 2.4
SLOPE_PSEUDO_PAIRS = 20.0
DEFAULT_SLOPE_PCT_PER_YEAR = -0.8
"""Years between two readings from which slope, and noise, are learned: about one season or two; the slope that stands
in for a thin fleet, and the pairs it counts for (engineering guesses)."""


def fit_noise(rows: SectionRows) -> NoiseParams:
    """Return the noise of each method, the bias against the bench, and what each technician adds.

    Notes
    -----
    Successive readings of one series: r = y2 - y1 - v dx, with v the fleet's median year-on-year slope;
    noise = 1.4826 MAD(r) / sqrt 2, its square shrunk to the default with pseudo-pairs. The bias of a method
    is the median of (other - bench - v dx), shrunk to 0. Technicians' biases are a ridge solution of the
    residuals of pairs whose two readings were taken by different hands.
    """
    p = priors()["drift"]["noise"]
    pairs = _pairs(rows)
    slope = _slope(pairs)
    residual = pairs["dy"].to_numpy() - slope * pairs["dx"].to_numpy()
    method, before = pairs["method"].to_numpy(), pairs["method_before"].to_numpy()
    noise, bias = {}, {"bench": 0.0}
    for name in METHODS:
        own = residual[(method == name) & (before == name)]
        default = float(p[f"{name}_sd_pct"]) ** 2
        found = (MAD_TO_SD * float(np.median(np.abs(own - np.median(own)))) / math.sqrt(2)) ** 2 if len(own) else 0.0
        weight = float(p["pseudo_pairs"])
        noise[name] = math.sqrt((len(own) * found + weight * default) / (len(own) + weight))
    for name in METHODS[1:]:
        signed = np.concatenate(
            [residual[(method == name) & (before == "bench")], -residual[(method == "bench") & (before == name)]]
        )
        shrink = len(signed) / (len(signed) + float(p["bias_pseudo_pairs"]))
        bias[name] = float(np.median(signed)) * shrink if len(signed) else 0.0
    centred = residual - np.array([bias.get(m, 0.0) - bias.get(b, 0.0) for m, b in zip(method, before, strict=True)])
    return NoiseParams(
        noise_pct=noise,
        bias_pct=bias,
        slope_pct_per_year=slope,
        technician_bias_pct=_technician_bias(pairs, centred, noise),
        technician_copied_share=_copied_shares(rows, noise["bench"]),
        pairs=len(pairs),
    )


def _pairs(rows: SectionRows) -> pl.DataFrame:
    before = [
        pl.col(c).shift(1).over("row").alias(f"{c}_before") for c in ("x_year", "drift_pct", "method", "technician")
    ]
    copied = pl.col("drift_pct").abs() < COPIED_WITHIN_PCT
    return (
        rows.readings.filter(~pl.col("suspect") & ~copied)
        .with_columns(before)
        .filter(pl.col("x_year_before").is_not_null())
        .with_columns(
            dx=pl.col("x_year") - pl.col("x_year_before"), dy=pl.col("drift_pct") - pl.col("drift_pct_before")
        )
    )


def _slope(pairs: pl.DataFrame) -> float:
    low, high = SLOPE_PAIR_YEARS
    same = pairs.filter(pl.col("dx").is_between(low, high) & (pl.col("method") == pl.col("method_before")))
    n = len(same)
    median = same.select((pl.col("dy") / pl.col("dx")).median()).item() if n else 0.0
    return (n * float(median) + SLOPE_PSEUDO_PAIRS * DEFAULT_SLOPE_PCT_PER_YEAR) / (n + SLOPE_PSEUDO_PAIRS)


def _technician_bias(pairs: pl.DataFrame, residual: Floats, noise: dict[str, float]) -> dict[str, float]:
    p = priors()["drift"]["noise"]
    cut = pairs.with_columns(r=pl.Series(residual)).filter(
        (pl.col("technician") != pl.col("technician_before")) & (pl.col("dx") <= NOISE_PAIR_YEARS)
    )
    seen = (
        pl.concat([cut["technician"], cut["technician_before"]])
        .value_counts()
        .filter(pl.col("count") >= p["technician_min_pairs"])
    )
    names = sorted(seen["technician"].to_list())
    if len(names) < 2:
        return {}
    position = {name: i for i, name in enumerate(names)}
    sds = np.array([[noise[m] for m in cut[c].to_list()] for c in ("method", "method_before")])
    sd = np.sqrt((sds**2).sum(axis=0))
    # a slipped reading says nothing about a meter: clipped at three sds
    r = np.clip(cut["r"].to_numpy(), -3 * sd, 3 * sd)
    design = np.zeros((len(cut), len(names)))
    for sign, column in ((1.0, "technician"), (-1.0, "technician_before")):
        at = np.array([position.get(name, -1) for name in cut[column].to_list()])
        rows = np.flatnonzero(at >= 0)
        design[rows, at[rows]] += sign
    weighted = design / (sd**2)[:, None]
    precision = weighted.T @ design + np.eye(len(names)) / float(p["technician_bias_sd_pct"]) ** 2
    found = np.linalg.solve(precision, weighted.T @ r)
    return {name: float(v) for name, v in zip(names, found, strict=True)}


def _copied_shares(rows: SectionRows, bench_sd: float) -> dict[str, float]:
    """Share of each technician's readings that only repeat the rating, beyond the exact zeros chance gives."""
    p = priors()["drift"]
    by = rows.readings.group_by("technician").agg(
        n=pl.len(), zeros=(pl.col("drift_pct").abs() < COPIED_WITHIN_PCT).sum()
    )
    chance = float(p["display_step_pct"]) / (math.sqrt(2 * math.pi) * math.hypot(bench_sd, float(p["start_sd_pct"])))
    weight = float(p["copied_pseudo_readings"])
    shares = {}
    for name, n, zeros in by.sort("technician", nulls_last=False).iter_rows():
        extra = max(0.0, zeros - n * chance)
        shares[name or ""] = min(0.95, (extra + weight * float(p["copied_share"])) / (n + weight))
    return shares


def bias_of(noise: NoiseParams) -> pl.Expr:
    """Return the bias [% of rating] of a reading by its method and technician."""
    method = pl.col("method").replace_strict(noise.bias_pct, default=0.0, return_dtype=pl.Float64)
    if not noise.technician_bias_pct:
        return method
    hand = pl.col("technician").fill_null("")
    return method + hand.replace_strict(noise.technician_bias_pct, default=0.0, return_dtype=pl.Float64)


def noise_of(noise: NoiseParams) -> pl.Expr:
    """Return the sd [% of rating] of a reading by its method."""
    unknown = noise.noise_pct["from_notes"]
    return pl.col("method").replace_strict(noise.noise_pct, default=unknown, return_dtype=pl.Float64)


def reading_arrays(rows: SectionRows, noise: NoiseParams) -> Readings:
    """Return the readings of ``rows`` as arrays, with bias taken off and doubt put on."""
    p = priors()["drift"]
    frame, series = rows.readings, rows.series
    bias = bias_of(noise)
    share = (
        pl.col("technician")
        .fill_null("")
        .replace_strict(
            noise.technician_copied_share or {"": 0.0}, default=float(p["copied_share"]), return_dtype=pl.Float64
        )
    )
    sd = noise_of(noise)
    copied = pl.col("drift_pct").abs() < COPIED_WITHIN_PCT
    spread = sd.pow(2) + 2.5
    density = (-bias.pow(2) / (2 * spread)).exp() / (2 * math.pi * spread).sqrt()
    odds_copied = share / (share + (1 - share) * float(p["display_step_pct"]) * density)
    doubtful = pl.when(pl.col("suspect")).then(float(p["suspect_odds"])).otherwise(float(p["bad_reading_odds"]))
    work = frame.select(
        "row",
        "x_year",
        y=pl.col("drift_pct") - bias,
        variance=sd.pow(2),
        odds=pl.when(copied).then(pl.max_horizontal(pl.min_horizontal(odds_copied, 0.6), doubtful)).otherwise(doubtful),
        copied=copied,
    ).with_columns(repeated=pl.col("copied") & (pl.col("copied").sum().over("row") > 1))
    # only one reading of a series may be bad, so several copied ones are all given wide noise instead
    bad_var = float(p["bad_reading_sd_pct"]) ** 2
    work = work.with_columns(
        variance=pl.when("repeated").then(pl.col("variance") + bad_var * pl.col("odds")).otherwise("variance"),
        odds=pl.when("repeated").then(float(p["bad_reading_odds"])).otherwise("odds"),
    )
    count = series["n"].to_numpy().astype(np.int64)
    origin = series["origin_year"].to_numpy().astype(np.float64)
    return Readings(
        first=np.cumsum(count) - count,
        count=count,
        x_year=work["x_year"].to_numpy(),
        y=work["y"].to_numpy(),
        noise_var=work["variance"].to_numpy(),
        bad_odds=work["odds"].to_numpy(),
        origin_year=origin,
        span_years=series["span_years"].to_numpy().astype(np.float64),
        known_origin=series["known_origin"].to_numpy(),
        start_var=np.full(len(series), float(p["start_sd_pct"]) ** 2),
        guessed_rating=series["guessed_rating"].to_numpy(),
        rating_scale=_rating_scales(series),
        last_year=series["last_year"].fill_null(float("nan")).to_numpy().astype(np.float64),
    )


def _rating_scales(series: pl.DataFrame) -> Floats:
    """Return rating in force over each size it may really be: itself and the next preferred sizes up."""
    more = len(priors()["drift"]["guessed_rating_weights"]) - 1
    scales = np.ones((len(series), more + 1))
    names, rated = series["section"].to_numpy(), series["rated_uf"].fill_null(0.0).to_numpy()
    guessed = series["guessed_rating"].to_numpy()
    for section, sizes in capacitor_facts().preferred_uf.items():
        rows = np.flatnonzero((names == section) & guessed)
        ladder = np.concatenate(
            [np.sort(np.asarray(sizes, dtype=np.float64)), max(sizes) * 1.2 ** np.arange(1, more + 2)]
        )
        at = np.searchsorted(ladder, rated[rows] * 1.001)
        for step in range(more):
            scales[rows, step + 1] = rated[rows] / ladder[np.minimum(at + step, len(ladder) - 1)]
    return scales
