"""Run by name (``-m benchmark``): what a million visits cost, and whether limits and alarms keep their promise."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Callable
from typing import Any

import numpy as np
import polars as pl
import pytest

from pipeline.config import Warranty
from pipeline.forecast.callbacks import callbacks
from pipeline.forecast.capacitor_hazards import capacitor_hazards
from pipeline.forecast.exposure import counted_failures, exposure
from pipeline.forecast.failure_rates import contributions, failure_rates
from pipeline.forecast.gathered import repairs_gathered
from pipeline.forecast.lifetimes import lifetimes, survival_curves
from pipeline.forecast.lives import component_spans, unit_spans
from pipeline.forecast.part_quality import part_quality
from pipeline.forecast.poisson_rates import dispersion, garwood, holm, p_higher, shrink
from pipeline.forecast.trends import season_trend
from pipeline.warranty.book import warranty_book
from tests.builders import make_frame

pytestmark = pytest.mark.benchmark

AS_OF = dt.date(2026, 3, 14)
CAUSES = ["run_capacitor", "contactor", "compressor", "condenser_fan_motor", "refrigerant_leak", "control_board"]


def big_fleet(visits: int, seed: int = 7) -> dict[str, pl.DataFrame]:
    """Units met at any age, six visits and a part or so each."""
    rng = np.random.default_rng(seed)
    units = visits // 6
    ids = np.array([f"U{n:06d}" for n in range(units)])
    born = np.datetime64("2000-01-01") + rng.integers(0, 9000, units).astype("timedelta64[D]")
    came = np.maximum(born, np.datetime64("2016-01-01")) + rng.integers(0, 1500, units).astype("timedelta64[D]")
    who = np.repeat(np.arange(units), 6)
    day = came[who] + rng.integers(0, 2200, who.size).astype("timedelta64[D]")
    kinds = np.array(["maintenance", "repair", "no_cooling", "callback", "inspection"])
    visit_frame = (
        pl.DataFrame(
            {
                "unit_id": ids[who],
                "visit_id": [f"V{n:07d}" for n in range(who.size)],
                "visit_date": day,
                "visit_type": kinds[rng.choice(5, who.size, p=[0.7, 0.1, 0.1, 0.02, 0.08])],
                "cause": np.array(CAUSES)[rng.integers(0, 6, who.size)],
                "technician": np.array([f"T{n}" for n in range(12)])[rng.integers(0, 12, who.size)],
                "invoice_total": rng.gamma(2, 100, who.size).round(2),
                "leak_found": np.where(rng.random(who.size) < 0.02, "yes", "no"),
                "refrigerant_added_oz": np.where(rng.random(who.size) < 0.05, 12.0, 0.0),
                "source_line": np.arange(who.size),
            }
        )
        .with_columns(
            pl.col("visit_date").cast(pl.Date),
            pl.lit("v.csv").alias("source_file"),
            *(pl.lit(None, pl.Float64).alias(f"{s}_uf_after") for s in ("herm", "fan", "blower")),
        )
        .filter(pl.col("visit_date") <= AS_OF)
        .sort("unit_id", "visit_date", "visit_id")
    )
    seen = visit_frame.group_by("unit_id").agg(
        first_visit_on=pl.col("visit_date").min(), last_visit_on=pl.col("visit_date").max(), visits_stored=pl.len()
    )
    register = pl.DataFrame(
        {
            "unit_id": ids,
            "site_id": ids,
            "make": np.array([f"M{n:02d}" for n in range(40)])[rng.integers(0, 40, units)],
            "model": np.array([f"K{n:03d}" for n in range(300)])[rng.integers(0, 300, units)],
            "serial": ids,
            "refrigerant": np.array(["R-22", "R-410A", "R-32"])[rng.integers(0, 3, units)],
            "installed_by": np.array(["own crew", "builder", "unknown"])[rng.integers(0, 3, units)],
            "installed_on": born,
            "parts_warranty_years": rng.choice([5.0, 10.0], units),
            "registered": rng.choice(["yes", "no"], units),
        }
    ).with_columns(pl.col("installed_on").cast(pl.Date))
    absent = {name: kind for name, kind in make_frame("units", []).schema.items() if name not in register.columns}
    register = register.with_columns(pl.lit(None, kind).alias(name) for name, kind in absent.items()).join(
        seen, on="unit_id", how="inner"
    )
    chosen = visit_frame.sample(visits // 6, seed=seed)
    columns = make_frame("parts", [], {"visit_date": pl.Date}).schema
    parts = chosen.select(
        "unit_id",
        "visit_id",
        "visit_date",
        part=pl.col("cause"),
        cost=pl.lit(40.0),
        price=pl.lit(180.0),
        part_make=pl.lit("P") + (pl.col("source_line") % 8).cast(pl.String),
        part_warranty_years=pl.lit(1.0),
        claim_status=pl.lit(None, pl.String),
        row_n=pl.lit(1, pl.Int64),
        source_file=pl.lit("p.csv"),
        source_line="source_line",
    )
    parts = parts.with_columns(
        pl.lit(None, kind).alias(name) for name, kind in columns.items() if name not in parts.columns
    ).sort("unit_id", "visit_date", "visit_id")
    reads = visit_frame.filter(pl.col("visit_type") == "maintenance").select(
        "unit_id",
        "visit_id",
        "visit_date",
        section=pl.lit("herm"),
        series=pl.lit(1, pl.Int64),
        rated_uf=pl.lit(40.0),
        tolerance_pct=pl.lit(6.0),
        measured_uf=pl.lit(38.0),
        method=pl.lit("bench"),
        drift_pct=-(pl.col("source_line") % 11).cast(pl.Float64),
        out_of_tolerance=(pl.col("source_line") % 11) > 6,
        suspect=pl.lit(None, pl.String),
        at_replacement=pl.lit(False),
        is_new_part=pl.lit(False),
    )
    series = register.select(
        "unit_id",
        section=pl.lit("herm"),
        series=pl.lit(1, pl.Int64),
        part_make=pl.lit("P1"),
        start_kind=pl.lit("installed"),
        started_on="installed_on",
        ended_on=pl.lit(None, pl.Date),
    )
    sections = register.select(
        "unit_id",
        section=pl.lit("herm"),
        season_end=pl.lit(dt.date(2026, 9, 30)),
        drift_pct=pl.lit(-4.0),
        p_out_by_season_end=pl.lit(0.4),
        already_out=pl.lit(False),
        last_reading_on="last_visit_on",
    )
    sites = register.select("site_id", agreement=pl.lit("yes"), owner_since=pl.lit(None, pl.Date))
    return {
        "visits": visit_frame,
        "units": register,
        "parts": parts,
        "readings": reads,
        "series": series,
        "sections": sections,
        "sites": sites,
    }


def everything(fleet: dict[str, pl.DataFrame]) -> dict[str, float]:
    """Work out every table of the rates and of the warranty; return the seconds of each."""
    seconds: dict[str, float] = {}

    def timed(name: str, work: Callable[[], Any]) -> Any:
        began = time.perf_counter()
        found = work()
        seconds[name] = time.perf_counter() - began
        return found

    visits, units, parts = fleet["visits"], fleet["units"], fleet["parts"]
    exposed = timed("exposure", lambda: exposure(units, AS_OF, 36))
    failed = timed("failures", lambda: counted_failures(visits, exposed))
    shares = timed("contributions", lambda: contributions(units, fleet["sites"], parts, exposed, failed))
    timed("rates", lambda: failure_rates(shares, exposed, failed))
    spans = timed(
        "spans",
        lambda: pl.concat(
            [unit_spans(units, exposed), component_spans(units, exposed, visits, parts, failed, fleet["readings"])]
        ),
    )
    timed("lifetimes", lambda: lifetimes(spans))
    timed("curves", lambda: survival_curves(spans))
    timed("hazards", lambda: capacitor_hazards(fleet["series"], fleet["readings"], failed))
    timed("gathered", lambda: repairs_gathered(units, exposed, visits))
    timed("callbacks", lambda: callbacks(visits, AS_OF))
    timed("quality", lambda: part_quality(fleet["readings"], fleet["series"]))
    timed("trend", lambda: season_trend(exposed, failed, AS_OF, "05-01", "09-30"))
    told = pl.DataFrame(
        schema={
            "unit_id": pl.String,
            "visit_id": pl.String,
            "item": pl.String,
            "quantity": pl.Float64,
            "snippet": pl.String,
        }
    )
    timed(
        "warranty",
        lambda: warranty_book(
            visits=visits,
            parts=parts,
            units=units,
            sites=fleet["sites"],
            readings=fleet["readings"],
            sections=fleet["sections"],
            told=told,
            settings=Warranty(),
            as_of=AS_OF,
        ),
    )
    return seconds


def test_a_million_visits_cost_few_sorts_of_them() -> None:
    """Everything together against sorting the visits once by unit and date, in one process: a ratio, not seconds."""
    fleet = big_fleet(1_000_000)
    began = time.perf_counter()
    for _ in range(3):
        fleet["visits"].sort("visit_date", "visit_id").sort("unit_id", "visit_date", "visit_id")
    sort = (time.perf_counter() - began) / 3
    seconds = everything(fleet)
    total = sum(seconds.values())
    print({name: round(value, 2) for name, value in seconds.items()}, round(total, 2), "ratio", round(total / sort, 1))
    assert total / sort < 60


def fleets(rng: np.random.Generator, spread: float, makes: int, years: tuple[float, float]) -> tuple[Any, Any, Any]:
    exposed = rng.uniform(*years, makes)
    rate = np.full(makes, 0.1) if spread == 0 else rng.gamma(1 / spread**2, 0.1 * spread**2, makes)
    return exposed, rate, rng.poisson(rate * exposed)


@pytest.mark.parametrize(("makes", "years"), [(40, (20, 400)), (10, (5, 80))])
def test_limits_cover_on_1000_fleets(makes: int, years: tuple[float, float]) -> None:
    """95 % limits of 1,000 fleets whose makes truly differ: exact ones cover at least 95 %, shrunk ones 92 to 98 %."""
    rng = np.random.default_rng(5)
    exact = drawn = total = 0
    for n in range(1000):
        exposed, rate, count = fleets(rng, (0.3, 0.5, 0.8)[n % 3], makes, years)
        low, high = garwood(count, exposed)
        exact += ((low <= rate) & (rate <= high)).sum()
        if n < 300:
            _, low, high = shrink(count, exposed)
            drawn += ((low <= rate) & (rate <= high)).sum()
        total += makes
    print("exact", exact / total, "shrunk", drawn / (300 * makes))
    assert exact / total >= 0.95
    assert 0.92 <= drawn / (300 * makes) <= 0.98


def alarms(rng: np.random.Generator, factor: float, frailty: float) -> tuple[bool, bool]:
    """One review of 40 makes of 60 units, 5 years each; the first make has ``factor`` times the rate of the rest."""
    rate = np.full((40, 60), 0.1)
    rate[0] *= factor
    if frailty:
        rate *= rng.gamma(1 / frailty, frailty, rate.shape)
    count = rng.poisson(5 * rate).astype(float)
    years = np.full(40, 300.0)
    made = count.sum(axis=1)
    scatter = dispersion(count.ravel(), np.repeat(made / 60, 60), 40)
    found = holm(p_higher(made, years, scatter))
    return bool(found.any()), bool(found[0])


@pytest.mark.parametrize(("frailty", "least_power"), [(0.0, 0.80), (0.5, 0.75)])
def test_false_alarms_and_power_over_40_makes(frailty: float, least_power: float) -> None:
    """At most 5 % of reviews of 40 identical makes name one; a make of twice 10 per 100 is named in 80 % or more."""
    rng = np.random.default_rng(6)
    false = np.mean([alarms(rng, 1.0, frailty)[0] for _ in range(1000)])
    power = np.mean([alarms(rng, 2.0, frailty)[1] for _ in range(400)])
    print("frailty", frailty, "false", false, "power", power)
    assert false <= 0.05
    assert power >= least_power
