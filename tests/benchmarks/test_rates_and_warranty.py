"""Run by name (``-m benchmark``): what a million visits cost, and whether limits and alarms keep their promise."""

from __future__ import annotations

import datetime as dt
import resource
import time
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import polars as pl
import pytest

from pipeline.config import Settings
from pipeline.derive_rates import rates_and_lives, read_fleet, write_tables, write_warranty
from pipeline.forecast.poisson_rates import dispersion, garwood, holm, p_higher, shrink
from pipeline.store.connect import open_store
from pipeline.store.frames import registered
from tests.builders import make_frame

pytestmark = pytest.mark.benchmark

AS_OF = dt.date(2026, 3, 14)
CAUSES = ["run_capacitor", "contactor", "compressor", "condenser_fan_motor", "refrigerant_leak", "control_board"]


def big_fleet(visits: int, seed: int = 7) -> dict[str, pl.DataFrame]:
    """Units met at any age, about five visits and a part or so each."""
    rng = np.random.default_rng(seed)
    units = visits * 100 // 513  # six each, and one in seven of them would lie after as-of
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


PLACES = {
    "visits": "imported.visits",
    "parts": "imported.parts",
    "units": "main.units",
    "sites": "main.sites",
    "readings": "core.capacitor_readings",
    "series": "core.capacitor_series",
    "sections": "core.section_forecast",
}
"""Where the store keeps each frame of ``big_fleet``."""
WRITTEN = (
    "failure_rates",
    "rate_rows",
    "lifetimes",
    "survival_curves",
    "capacitor_hazards",
    "repairs_gathered",
    "callbacks",
    "part_quality",
    "season_trend",
    "warranty",
)
"""Views that must have rows when all is written."""


def fill(con: duckdb.DuckDBPyConnection, fleet: dict[str, pl.DataFrame]) -> None:
    """Put the fleet where the store keeps it."""
    place = {"source_file": pl.lit("x.csv"), "source_line": pl.lit(2, pl.Int64), "import_id": pl.lit(1, pl.Int64)}
    for name, table in PLACES.items():
        schema, _, short = table.partition(".")
        columns = con.execute(
            "select column_name from duckdb_columns() where schema_name = ? and table_name = ?", [schema, short]
        ).fetchall()
        lacking = {key: value for key, value in place.items() if key not in fleet[name].columns}
        frame = fleet[name].with_columns(**lacking)
        frame = frame.select(column for column in frame.columns if (column,) in columns)
        with registered(con, "coming", frame):
            con.execute(f"insert into {table} by name select * from coming")


def spent() -> float:
    """Return the processor seconds of this process so far, all threads."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


def test_a_million_visits_are_worked_out_within_ten_processor_seconds_a_core(tmp_path: Path) -> None:
    """From a store on disk to every table of rates, lives and warranty written: read, worked out, stored.

    The bound is 10 seconds on 2 cores, so 20 processor seconds: on a machine that does other work too, wall time says
    how busy it is, and is only printed.
    """
    with open_store(tmp_path / "shop.duckdb", threads=2) as con:
        fill(con, big_fleet(1_000_000))
        [(visits,)] = con.execute("select count(*) from visits").fetchall()
        began, used = time.perf_counter(), spent()
        con.execute("begin")
        known = read_fleet(con, AS_OF, Settings())
        write_tables(con, rates_and_lives(known, Settings().season, None))
        write_warranty(con, known, Settings())
        con.execute("commit")
        wall, processor = time.perf_counter() - began, spent() - used
        rows = {view: con.execute(f"select count(*) from {view}").fetchall()[0][0] for view in WRITTEN}
    print(f"{visits:,} visits: {wall:.1f} s, {processor:.1f} processor seconds; {rows}")
    assert visits > 990_000
    assert min(rows.values()) > 0
    assert processor < 20


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
