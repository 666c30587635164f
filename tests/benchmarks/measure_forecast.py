"""Forecast quality on simulated fleets, against the simulator's truth.

``python -m tests.benchmarks.measure_forecast --units 3000 --fleets 2`` prints one row per law pair;
``--sparse`` reads as little as real shops do and asks on 1 February.
"""

from __future__ import annotations

import argparse
import dataclasses
import time

import numpy as np
import numpy.typing as npt
import polars as pl
from scipy.special import ndtr

from pipeline.config import Settings
from pipeline.forecast.degree_days import HEAT_SCHEMA
from pipeline.forecast.model import apply, fit
from pipeline.forecast.params import Params
from pipeline.forecast.scores import brier_skill, calibration
from pipeline.forecast.sections_apply import current_rows, recalibrate
from pipeline.forecast.sections_fit import weights_of
from pipeline.forecast.sections_inputs import section_rows, year_of
from pipeline.forecast.sections_noise import reading_arrays
from pipeline.forecast.sections_paths import default_paths
from pipeline.forecast.sections_posterior import predict
from tests.simulators.fleet import EPOCH_YEAR, TOLERANCE, Fleet, Shop, simulate
from tests.simulators.oracle import oracle_odds

Floats = npt.NDArray[np.float64]

DATED_YEARS = 15.0
"""Crossing dates further ahead are left blank."""
PAIRS = (
    ("linear", "late"),
    ("accelerating", "load_and_charge"),
    ("two_phase", "proportional"),
    ("jumps", "threshold"),
    ("power", "proportional"),
    ("mixed", "additive"),
)
HELD_OUT = (("settling", "joint"),)
"""Written after the forecast was done, and never used to choose anything in it."""
SPARSE = {
    "reading_share": 0.30,
    "tune_up_share": 0.45,
    "inferred_rating_share": 0.7,
    "no_install_share": 0.4,
    "as_of_month": 0,
}


def expected_error(p: Floats, truth: Floats, bins: int = 10) -> float:
    """Return the mean gap between odds and truth over bins of equal count."""
    parts = np.array_split(np.argsort(p, kind="stable"), bins)
    return float(sum(len(i) * abs(p[i].mean() - truth[i].mean()) for i in parts if len(i)) / len(p))


@dataclasses.dataclass(frozen=True)
class SectionTruth:
    """Sections with a reading: odds and truth a year ahead, interval places, crossing dates."""

    p: Floats
    out: npt.NDArray[np.bool_]
    place: Floats
    fleet_slope: Floats
    crossing: Floats
    early: Floats
    late: Floats


def section_truth(fleet: Fleet, params: Params) -> SectionTruth:
    """Return the drift model's odds one year ahead beside what is true."""
    known = fleet.history.tidy().through(fleet.as_of)
    rows = current_rows(section_rows(known, params.sections.age_at_first_visit_years, stand_ins=False))
    position = {name: i for i, name in enumerate(fleet.units)}
    at = np.array([position[name] for name in rows.series["unit_id"].to_list()])
    names = rows.series["section"].to_numpy()
    later = np.where(names == "herm", fleet.drift_later["herm"][at], fleet.drift_later["fan"][at])
    crossing = np.where(names == "herm", fleet.crossing_year["herm"][at], fleet.crossing_year["fan"][at])
    limits = np.column_stack([-rows.series["tolerance_pct"].to_numpy(), later])
    below = predict(
        reading_arrays(rows, params.sections.noise),
        default_paths(),
        names.tolist(),
        weights_of(params.sections),
        np.array([year_of(fleet.as_of) + 1.0]),
        limits,
    )[2][:, 0]
    forecast = apply(fleet.history, params, fleet.as_of, Settings()).sections
    ahead = forecast.select(
        ((pl.col(c) - pl.lit(fleet.as_of)).dt.total_days() / 365.25).fill_null(15.01)
        for c in ("out_earliest", "out_latest")
    ).to_numpy()
    read = np.flatnonzero(rows.series["n"].to_numpy() > 0)
    last = rows.series["last_drift_pct"].fill_null(0.0).to_numpy()
    since = year_of(fleet.as_of) + 1.0 - rows.series["last_year"].fill_null(0.0).to_numpy()
    noise = params.sections.noise
    mean = last + noise.slope_pct_per_year * since
    spread = np.hypot(noise.noise_pct["bench"], 1.2 * np.abs(noise.slope_pct_per_year) * since)
    slope = ndtr((-TOLERANCE - mean) / spread)
    wait = np.maximum(crossing - EPOCH_YEAR - year_of(fleet.as_of), 0.0)
    return SectionTruth(
        recalibrate(below[read, 0], params.sections),
        later[read] < -TOLERANCE,
        below[read, 1],
        slope[read],
        np.minimum(wait, 15.01)[read],
        ahead[read, 0],
        ahead[read, 1],
    )


def oracle_share(fleet: Fleet, shop: Shop, params: Params, most: int = 1500) -> tuple[float, float]:
    """Return the Brier skill of the forecast and of the readings-only oracle on the same sections."""
    known = fleet.history.tidy().through(fleet.as_of)
    rows = current_rows(section_rows(known, params.sections.age_at_first_visit_years, stand_ins=False))
    read = rows.series.filter(pl.col("n") > 0).head(most)
    at_year = year_of(fleet.as_of) + 1.0
    names = rows.series["section"].to_list()
    limits = -rows.series["tolerance_pct"].to_numpy()[:, None]
    arrays = reading_arrays(rows, params.sections.noise)
    below = predict(arrays, default_paths(), names, weights_of(params.sections), np.array([at_year]), limits)[2][
        :, 0, 0
    ]
    p = recalibrate(below[read["row"].to_numpy()], params.sections)
    readings = rows.readings.join(read.select("row", "unit_id", "section", "rated_uf"), on="row", how="inner")
    readings = readings.select("unit_id", "section", "x_year", "drift_pct", "rated_uf", "method", "technician")
    best = oracle_odds(fleet, shop, read, readings, at_year)
    position = {name: i for i, name in enumerate(fleet.units)}
    out = np.array(
        [fleet.drift_later[s][position[u]] < -TOLERANCE for u, s in read.select("unit_id", "section").iter_rows()]
    )
    return brier_skill(p, out) or 0.0, brier_skill(best, out) or 1.0


def joined(parts: list[SectionTruth]) -> SectionTruth:
    """Return several fleets as one."""
    names = [field.name for field in dataclasses.fields(SectionTruth)]
    return SectionTruth(**{name: np.concatenate([getattr(one, name) for one in parts]) for name in names})


def section_line(t: SectionTruth) -> dict[str, float]:
    """Return the scores of the drift model.

    Each tail of the crossing date is counted where that end is a date: an end on the as-of day cannot be too late,
    one that is left blank because it lies beyond 15 years cannot be too early, so that counting those too would make
    any range look too wide. A part taken to be in tolerance is dated as one that is, so it counts where it is.
    """
    early = (t.crossing > 0) & (t.early > 0.01)
    late = (t.late > 0.01) & (t.late < DATED_YEARS) & ((t.crossing > 0) | (t.early <= 0.01))
    too_early = float(np.mean(t.crossing[early] < t.early[early] - 0.05))
    too_late = float(np.mean(t.crossing[late] > t.late[late] + 0.05))
    return {
        "A bss": brier_skill(t.p, t.out) or 0.0,
        "slope rule": brier_skill(t.fleet_slope, t.out) or 0.0,
        "A ece": expected_error(t.p, t.out.astype(float)),
        "A cal": calibration(t.p, t.out)[1],
        "A p/o": float(t.p.mean() / t.out.mean()),
        "level in": float(np.mean((t.place > 0.05) & (t.place < 0.95))),
        "cross early": too_early,
        "cross late": too_late,
        "cross in": 1 - too_early - too_late,
        "late dated": float(np.mean(t.late < DATED_YEARS)),
    }


def unit_line(p: Floats, low: Floats, high: Floats, truth: Floats) -> dict[str, float]:
    """Return the scores of the failure models against the true probability."""
    top = max(1, len(p) // 20)
    order, best = np.argsort(-p, kind="stable")[:top], np.argsort(-truth, kind="stable")[:top]
    return {
        "share*": 1 - float(np.mean((p - truth) ** 2) / truth.var()),
        "B cal": calibration(p, truth)[1],
        "B ece": expected_error(p, truth),
        "P/p": float(truth.mean() / p.mean()),
        "top5/oracle": float(truth[order].mean() / truth[best].mean()),
        "top5/base": float(truth[order].mean() / truth.mean()),
        "P in": float(np.mean((truth >= low) & (truth <= high))),
    }


def degree_days_of(fleet: Fleet) -> pl.DataFrame:
    """Return what a weather station would have counted: the summers' true pull on failures, by another power."""
    return pl.DataFrame(
        [(year, 1500.0 * pull**0.8) for year, pull in fleet.weather.items()], schema=HEAT_SCHEMA, orient="row"
    )


def measure(
    ageing: str,
    failing: str,
    units: int,
    fleets: int,
    seed: int,
    changes: dict[str, float],
    *,
    oracle: bool = False,
    heat: bool = False,
) -> dict[str, float]:
    """Return pooled scores of several fleets of one law pair."""
    found, unit_rows, fleets_star, skills = [], [], [], []
    for k in range(fleets):
        shop = Shop(units=units, ageing=ageing, failing=failing, seed=seed + k, **changes)
        fleet = simulate(shop)
        params = fit(fleet.history, fleet.as_of, Settings(), degree_days_of(fleet) if heat else None)
        rows = apply(fleet.history, params, fleet.as_of, Settings()).units
        three = rows.select("p_failure", "p_low", "p_high").to_numpy().T
        unit_rows.append(np.vstack([three, fleet.p_true]))
        fleets_star.append(unit_line(*three, fleet.p_true)["share*"])
        found.append(section_truth(fleet, params))
        if oracle:
            skills.append(oracle_share(fleet, shop, params))
    pooled = np.concatenate(unit_rows, axis=1)
    line = section_line(joined(found)) | unit_line(*pooled) | {"worst share*": min(fleets_star)}
    if skills:
        ours, best = np.array(skills).mean(axis=0)
        line["A/oracle"] = float(ours / best)
    return line


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--units", type=int, default=3000)
    parser.add_argument("--fleets", type=int, default=1)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--sparse", action="store_true")
    parser.add_argument("--heat", action="store_true", help="the shop keeps degree days")
    parser.add_argument("--held-out", action="store_true", help="only the laws that chose nothing")
    parser.add_argument("--only", default="")
    parser.add_argument("--oracle", action="store_true", help="also the readings-only oracle of the drift (slow)")
    asked = parser.parse_args()
    lines = []
    for ageing, failing in HELD_OUT if asked.held_out else PAIRS:
        if asked.only and asked.only not in (ageing, failing):
            continue
        began = time.perf_counter()
        line = measure(
            ageing,
            failing,
            asked.units,
            asked.fleets,
            asked.seed,
            SPARSE if asked.sparse else {},
            oracle=asked.oracle,
            heat=asked.heat,
        )
        lines.append({"laws": f"{ageing[:7]}/{failing[:7]}"} | line | {"s": time.perf_counter() - began})
    table = pl.DataFrame(lines)
    mean = table.select(pl.lit("mean").alias("laws"), pl.exclude("laws").mean())
    with pl.Config(
        tbl_cols=-1,
        tbl_rows=-1,
        tbl_width_chars=260,
        float_precision=3,
        tbl_hide_column_data_types=True,
        tbl_hide_dataframe_shape=True,
    ):
        print(pl.concat([table, mean]))


if __name__ == "__main__":
    main()
