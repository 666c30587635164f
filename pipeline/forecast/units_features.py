"""What the failure models look at: one row per unit, as known on a day."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.forecast.charge_state import charge_state
from pipeline.forecast.failures import CAPACITOR_CAUSES, CHARGE_CAUSES, failures
from pipeline.forecast.history import History
from pipeline.forecast.params import SectionParams
from pipeline.forecast.priors import priors
from pipeline.forecast.sections_apply import current_rows, set_open
from pipeline.forecast.sections_fit import weights_of
from pipeline.forecast.sections_inputs import FORECAST_SECTIONS, section_rows, year_of, years
from pipeline.forecast.sections_noise import reading_arrays
from pipeline.forecast.sections_paths import default_paths
from pipeline.forecast.sections_posterior import predict

Floats = npt.NDArray[np.float64]

FAILURE_MEMORY_YEARS = 3.0
WARNING_MEMORY_YEARS = 2.0
"""How long an earlier failure, and a warning seen, count (engineering choices)."""
WARNINGS = ("pitted_contactor", "noisy_compressor", "oil_stain", "swollen_capacitor", "vibration", "hard_start_kit")
MOST_FAILURES, MOST_WARNINGS, LONGEST_UNSEEN_YEARS = 3.0, 3.0, 4.0
"""More of these count as so many: what lies beyond is too rare to learn from (engineering choices)."""


@dataclass(frozen=True)
class Compressor:
    """How running amps follow weather and supply, and what a compressor draws: shares of rated load amps."""

    mean: float
    per_ten_degrees: float
    per_volt_share: float


@dataclass(frozen=True, eq=False)
class UnitFeatures:
    """Arrays aligned with ``frame`` (sorted by unit_id); capacitor odds have one column per threshold.

    ``below[s]`` chances of the true drift below each threshold of the priors, ``level[s]`` and ``sd[s]`` [%];
    charge_loss_f and its sd [degF], leak_slope [degF/year], added [% of charge/year], load [share of rated
    amps], age [years], earlier_failures, warnings, since_visit [years].
    """

    frame: pl.DataFrame
    below: dict[str, Floats]
    level: dict[str, Floats]
    sd: dict[str, Floats]
    numbers: dict[str, Floats]
    make: npt.NDArray[np.str_]

    def __len__(self) -> int:
        return len(self.frame)


def unit_features(
    history: History, params: SectionParams, as_of: dt.date, middle: dt.date, median_age: float, compressor: Compressor
) -> UnitFeatures:
    """Return the features of every unit of ``history``, which must already end on ``as_of``.

    Parameters
    ----------
    middle
        The day the state is projected to: the middle of the time at stake.
    median_age
        Age [years] taken where neither install nor manufacture date is known.
    """
    units = history.units.sort("unit_id")
    p = priors()["hazard"]
    thresholds = np.asarray(p["thresholds_pct"], dtype=np.float64)
    rows = current_rows(section_rows(history, params.age_at_first_visit_years, stand_ins=True))
    names = rows.series["section"].to_list()
    mean, sd, below = predict(
        reading_arrays(rows, params.noise),
        default_paths(),
        names,
        weights_of(params),
        np.array([year_of(middle)]),
        np.broadcast_to(thresholds, (len(names), len(thresholds))),
    )
    set_open(rows.series, mean, sd, below)
    position = {name: i for i, name in enumerate(units["unit_id"].to_list())}
    at = np.array([position[name] for name in rows.series["unit_id"].to_list()], dtype=np.int64)
    result: dict[str, tuple[Floats, Floats, Floats]] = {}
    for section in FORECAST_SECTIONS:
        own = np.flatnonzero(np.array(names) == section)
        wide = np.zeros((len(units), len(thresholds)))
        level, spread = np.zeros(len(units)), np.zeros(len(units))
        wide[at[own]], level[at[own]], spread[at[own]] = below[own, 0], mean[own, 0], sd[own, 0]
        result[section] = (wide, level, spread)
    facts = _facts(history, units, as_of, middle, median_age)
    numbers = {name: facts[name].to_numpy().astype(np.float64) for name in NUMBERS}
    numbers |= charge_state(history, units, middle)
    numbers["load"] = _load(history, units, compressor)
    return UnitFeatures(
        frame=facts,
        below={s: result[s][0] for s in FORECAST_SECTIONS},
        level={s: result[s][1] for s in FORECAST_SECTIONS},
        sd={s: result[s][2] for s in FORECAST_SECTIONS},
        numbers=numbers,
        make=facts["make"].fill_null("").str.to_lowercase().to_numpy().astype(np.str_),
    )


NUMBERS = ("age", "earlier_failures", "warnings", "since_visit")


def _facts(history: History, units: pl.DataFrame, as_of: dt.date, middle: dt.date, median_age: float) -> pl.DataFrame:
    now = year_of(as_of)
    p = priors()["hazard"]
    other = failures(history.visits).filter(
        ~pl.col("cause").is_in([*CAPACITOR_CAUSES, *CHARGE_CAUSES]).fill_null(False)
        & (years("visit_date") > now - FAILURE_MEMORY_YEARS)
    )
    earlier = other.group_by("unit_id").agg(earlier_failures=pl.len().cast(pl.Float64).clip(0, MOST_FAILURES))
    seen = (
        history.visits.filter(pl.col("observations").is_not_null() & (years("visit_date") > now - WARNING_MEMORY_YEARS))
        .group_by("unit_id")
        .agg(words=pl.col("observations").sort_by("visit_date").last())
    )
    warned = seen.select(
        "unit_id",
        warnings=pl.sum_horizontal(
            pl.col("words").str.contains(w, literal=True).cast(pl.Float64) for w in WARNINGS
        ).clip(0, MOST_WARNINGS),
    )
    born = pl.coalesce(years("installed_on"), years("manufactured_on") + 0.5)
    return (
        units.join(earlier, on="unit_id", how="left")
        .join(warned, on="unit_id", how="left")
        .with_columns(
            pl.col("earlier_failures", "warnings").fill_null(0.0),
            age_known=born.is_not_null(),
            age=(year_of(middle) - born).fill_null(median_age).clip(p["age_low_years"], 60.0),
            since_visit=(now - years("last_visit_on")).fill_null(LONGEST_UNSEEN_YEARS).clip(0, LONGEST_UNSEEN_YEARS),
        )
        .sort("unit_id")
    )


def load_readings(history: History) -> pl.DataFrame:
    """Return running amps over rated load amps of every visit that allows it: unit_id, share, tens, volts."""
    rated = history.units.select("unit_id", "compressor_rla_amps").filter(pl.col("compressor_rla_amps") > 0)
    changed = (
        history.parts.filter(pl.col("part") == "compressor").group_by("unit_id").agg(new_on=pl.col("visit_date").max())
    )
    nominal = (
        history.visits.filter(pl.col("line_volts") > 0).group_by("unit_id").agg(usual=pl.col("line_volts").median())
    )
    return (
        history.visits.filter(pl.col("compressor_amps") > 0)
        .join(rated, on="unit_id", how="inner")
        .join(changed, on="unit_id", how="left")
        .join(nominal, on="unit_id", how="left")
        .filter((pl.col("visit_date") > pl.col("new_on")).fill_null(True))
        .select(
            "unit_id",
            "visit_date",
            share=pl.col("compressor_amps") / pl.col("compressor_rla_amps"),
            tens=((pl.col("outdoor_db_f") - 85.0) / 10.0).fill_null(0.0).clip(-4, 4),
            volts=(pl.col("line_volts") / pl.col("usual") - 1.0).fill_null(0.0).clip(-0.2, 0.2),
        )
        .filter(pl.col("share").is_between(0.2, 2.0))
    )


def fit_compressor(history: History) -> Compressor:
    """Return the fleet's mean load and what weather and volts add, by ridge regression within the fleet."""
    p = priors()["compressor"]
    frame = load_readings(history)
    y = frame["share"].to_numpy() - float(p["load_mean"])
    x = np.column_stack([np.ones(len(y)), frame["tens"].to_numpy(), frame["volts"].to_numpy()])
    if len(y):
        keep = np.abs(y - np.median(y)) < 0.4
        x, y = x[keep], y[keep]
    noise = float(p["load_reading_sd"]) ** 2 + float(p["load_fleet_sd"]) ** 2
    precision = x.T @ x / noise + np.diag([1 / 0.1**2, 1 / 0.05**2, 1 / 0.5**2])
    found = np.linalg.solve(precision, x.T @ y / noise)
    return Compressor(float(p["load_mean"]) + float(found[0]), float(found[1]), float(found[2]))


def _load(history: History, units: pl.DataFrame, compressor: Compressor) -> Floats:
    p = priors()["compressor"]
    one, fleet = float(p["load_reading_sd"]) ** -2, float(p["load_fleet_sd"]) ** -2
    usual = load_readings(history).with_columns(
        excess=pl.col("share")
        - compressor.mean
        - compressor.per_ten_degrees * pl.col("tens")
        - compressor.per_volt_share * pl.col("volts")
    )
    by = usual.group_by("unit_id").agg(excess=pl.col("excess").clip(-0.4, 0.6).sum() * one / (pl.len() * one + fleet))
    joined = units.select("unit_id").join(by, on="unit_id", how="left", maintain_order="left")
    return joined["excess"].fill_null(0.0).to_numpy() + float(p["load_mean"])
