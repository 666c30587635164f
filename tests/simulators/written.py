"""What a simulated shop's technicians wrote down, as the frames that the forecast reads."""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from pipeline.forecast.history import History

if TYPE_CHECKING:
    pass

SECTIONS = ("herm", "fan")
TOLERANCE = 6.0


class Records:
    """Rows by kind, gathered month by month."""

    def __init__(self) -> None:
        self.rows: dict[str, list[pl.DataFrame]] = {k: [] for k in ("visits", "cap_readings", "charge", "parts")}

    def add(self, name: str, **columns: object) -> None:
        frame = pl.DataFrame(columns)
        if frame.height:
            self.rows[name].append(frame)

    def frame(self, name: str) -> pl.DataFrame:
        return (
            pl.concat(self.rows[name], how="diagonal_relaxed")
            if self.rows[name]
            else pl.DataFrame(schema={"unit_id": pl.String, "visit_id": pl.String, "visit_date": pl.Date})
        )


def year_of_day(day: dt.date) -> float:
    """Return the date as a year with its fraction."""
    return day.year + (day.timetuple().tm_yday - 1) / 365.25


def written_history(rng, shop, ids, install, make, rated, rla, records, series, started, log, n) -> History:  # type: ignore[no-untyped-def]
    """Return the frames of everything written down."""
    visits = records.frame("visits").with_columns(pl.col(pl.Float64).fill_nan(None))
    span = visits.group_by("unit_id").agg(
        first_visit_on=pl.col("visit_date").min(), last_visit_on=pl.col("visit_date").max()
    )
    known = rng.random(n) >= shop.no_install_share
    units = (
        pl.DataFrame(
            {
                "unit_id": ids,
                "make": [f"make {m}" for m in make],
                "nominal_tons": np.full(n, 3.0),
                "compressor_rla_amps": np.where(rng.random(n) < 0.7, rla, np.nan),
                "installed_on": [_date(y) if k else None for y, k in zip(install, known, strict=True)],
                "cap_herm_uf": rated["herm"],
                "cap_fan_uf": rated["fan"],
            }
        )
        .with_columns(pl.col(pl.Float64).fill_nan(None))
        .join(span, on="unit_id", how="inner")
    )
    rows = []
    for section in SECTIONS:
        past = [(u, k, s0, s1) for u, k, _, s0, s1, name in log if name == section]
        rows += [(u, section, k, s0, s1) for u, k, s0, s1 in past]
        rows += [(ids[i], section, int(series[section][i]), float(started[section][i]), float("nan")) for i in range(n)]
    size = {s: dict(zip(ids, rated[s], strict=True)) for s in SECTIONS}
    born = dict(zip(ids, [_date(y) if k else None for y, k in zip(install, known, strict=True)], strict=True))
    inferred = rng.random(n) < shop.inferred_rating_share
    guess = dict(zip(ids, inferred, strict=True))
    capacitor = pl.DataFrame(
        {
            "unit_id": [r[0] for r in rows],
            "section": [r[1] for r in rows],
            "series": [r[2] for r in rows],
            "rated_uf": [size[r[1]][r[0]] for r in rows],
            "rated_source": ["nearest_size" if guess[r[0]] else "unit" for r in rows],
            "tolerance_pct": [TOLERANCE for _ in rows],
            "started_on": [born[r[0]] if np.isnan(r[3]) else _date(r[3]) for r in rows],
            "start_kind": [("installed" if born[r[0]] else "unknown") if np.isnan(r[3]) else "fitted" for r in rows],
            "ended_on": [None if np.isnan(r[4]) else _date(r[4]) for r in rows],
        },
        schema_overrides={"started_on": pl.Date, "ended_on": pl.Date},
    ).filter(pl.col("unit_id").is_in(units["unit_id"].to_list()))
    found = History(
        capacitor, records.frame("cap_readings"), records.frame("charge"), visits, records.frame("parts"), units
    )
    return _guess_ratings(found, guess) if inferred.any() else found


def _guess_ratings(history: History, guess: dict[str, bool]) -> History:
    """Replace the true rating of some units by the preferred size nearest to their first reading."""
    ladder = {"herm": [25, 30, 35, 40, 45, 50], "fan": [4, 5, 7.5, 10, 12.5]}
    chosen = pl.DataFrame({"unit_id": list(guess), "guess": list(guess.values())}).filter("guess").select("unit_id")
    first = (
        history.cap_readings.join(chosen, on="unit_id")
        .sort("visit_date")
        .group_by("unit_id", "section", "series")
        .agg(pl.col("measured_uf").first())
    )
    sized = first.with_columns(
        guessed=pl.Series(
            [min(ladder[s], key=lambda v: abs(v - m)) for s, m in first.select("section", "measured_uf").iter_rows()],
            dtype=pl.Float64,
        )
    ).drop("measured_uf")
    key = ["unit_id", "section", "series"]
    rating = pl.coalesce("guessed", "rated_uf")
    return dataclasses.replace(
        history,
        series=history.series.join(sized, on=key, how="left").with_columns(rated_uf=rating).drop("guessed"),
        cap_readings=history.cap_readings.join(sized, on=key, how="left")
        .with_columns(rated_uf=rating)
        .with_columns(drift_pct=(100 * (pl.col("measured_uf") / pl.col("rated_uf") - 1)).round(2))
        .drop("guessed"),
    )


def _date(year: float) -> dt.date:
    whole = int(year)
    return dt.date(whole, 1, 1) + dt.timedelta(days=int((year - whole) * 365.25))
