"""The round between the store and the shop folder: reads what is known and promised, plans, and stores the plan."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from pathlib import Path

import duckdb
import polars as pl

from pipeline.config import Settings
from pipeline.errors import FileRefused
from pipeline.fleet_facts import keep_fact
from pipeline.ingest.read import read_table
from pipeline.plan import appointments, distances
from pipeline.plan.due import Known
from pipeline.plan.places import zip_centroids
from pipeline.plan.problem import Day
from pipeline.plan.round import APPOINTMENTS, TRAVEL, Round, plan_round
from pipeline.plan.route_frames import clock
from pipeline.plan.stock_file import STOCK_FILE
from pipeline.plan.technicians import season_ahead
from pipeline.stock_run import write_stock
from pipeline.store.derived import replace_rows
from pipeline.store.history import visits_of
from pipeline.store.query import query
from pipeline.workmate import Each, alone

VISITS = ("unit_id", "visit_id", "visit_date", "visit_type", "outdoor_db_f")
QUICK = 200
"""Iterations of the search within the main job: a second or two for a shop of some hundred stops."""
THOROUGH = 2500
"""Iterations where the plan is what was asked for."""


def write_plan(
    con: duckdb.DuckDBPyConnection,
    shop: Path,
    as_of: dt.date,
    settings: Settings,
    *,
    iterations: int,
    say: Callable[[str], None],
    each: Each = alone,
) -> Round:
    """Plan the round as of ``as_of``, rewrite its tables, and say what the owner has to know.

    A plan that would break a rule is not stored, and the last note says so.
    """
    promised, said = _own_file(shop / APPOINTMENTS, ("unit_id", "date"), appointments.COLUMNS)
    travel, said_too = _own_file(shop / TRAVEL, distances.COLUMNS, distances.COLUMNS)
    found = plan_round(
        known_of(con, as_of, settings),
        settings,
        centroids=zip_centroids,
        appointments=promised,
        travel=travel,
        iterations=iterations,
    )
    notes = [*said, *said_too, *found.notes]
    replace_rows(con, "route_stops", found.route_stops, None)
    replace_rows(con, "plan_left_out", found.left_out, None)
    replace_rows(con, "plan_days", _days(found.days), None)
    replace_rows(con, "site_places", found.placed, None)
    replace_rows(
        con, "plan_notes", pl.DataFrame({"note": notes}, schema={"note": pl.String}).with_row_index("place", 1), None
    )
    for note in notes:
        say(note)
    write_stock(con, shop, as_of, settings, promised, say=say, each=each)
    return found


def keep_plan_inputs(con: duckdb.DuckDBPyConnection, shop: Path, settings: Settings) -> bool:
    """Keep the digest of what the user says of the round (settings and own files) and return whether it has changed."""
    files = [shop / name for name in (APPOINTMENTS, TRAVEL, STOCK_FILE)]
    said = [file.read_bytes().hex() if file.exists() else "" for file in files]
    said.append(settings.model_dump_json(include={"plan", "technicians", "costs", "season", "stock"}))
    return keep_fact(con, "plan_inputs", pl.DataFrame({"said": said}))


def summary_line(found: Round) -> str:
    """Return what the plan came to, in one line."""
    stops = found.route_stops
    if stops.is_empty():
        return f"plan: no stop planned, {found.left_out.height} units left out"
    routes = stops.select("technician", "date").n_unique()
    hours = float(stops["drive_minutes"].sum()) / 60
    dates = stops["date"].sort()
    return (
        f"plan: {stops.height} units on {routes} technician-days from {dates[0]} to {dates[-1]}, "
        f"{hours:.1f} hours on the way to them, {found.left_out.height} units left out"
    )


def known_of(con: duckdb.DuckDBPyConnection, as_of: dt.date, settings: Settings) -> Known:
    """Return what the store knows of the units as of a day, as far as the round needs it."""
    risk = query(con, "core.unit_forecast")
    findings = query(con, "core.open_findings").filter(pl.col("resolved_on").is_null())
    return Known(
        risk=risk.select("unit_id", "p_failure", "prevention_share", "flagged", "leading_reason", "last_visit_on"),
        units=query(con, "units").select("unit_id", "site_id", "refrigerant", "equipment"),
        sites=query(con, "sites"),
        findings=findings.select("unit_id", "finding", "found_on", "decision"),
        sections=query(con, "core.section_forecast").select(
            "unit_id", "section", "p_out_by_season_end", "basis", "drift_sd_pct", "last_reading_on"
        ),
        warranty=query(con, "warranty").select("unit_id", "part", "section", "state", "amount", "deadline"),
        visits=visits_of(con, None, as_of, VISITS),
        as_of=as_of,
        season_start=risk["season_start"].max() if risk.height else season_ahead(as_of, settings.season),  # type: ignore[arg-type]
    )


def _own_file(path: Path, needed: Sequence[str], columns: Sequence[str]) -> tuple[pl.DataFrame, list[str]]:
    """Return the wanted columns of a small file of the user's as text, with source_line, and what is wrong with it."""
    empty = pl.DataFrame(schema=dict.fromkeys(columns, pl.String()) | {"source_line": pl.Int64()})
    if not path.exists():
        return empty, []
    try:
        raw = read_table(path, path.name)
    except FileRefused as error:
        return empty, [error.sentence()]
    at = {header.strip().lower(): f"c{n}" for n, header in reversed(list(enumerate(raw.header)))}
    missing = [name for name in needed if name not in at]
    if missing:
        return empty, [
            f'{path.name} line {raw.header_line}: the column "{missing[0]}" is missing; the file was not used. '
            f"Add it: the columns are {', '.join(columns)}. [{path.stem}]"
        ]
    wrong = [
        f"{path.name} line {row['source_line']}, {row['message']}; row not used. {row['advice']} [{row['rule']}]"
        for row in raw.malformed.iter_rows(named=True)
    ]
    known = [pl.col(at[name]).alias(name) for name in columns if name in at]
    return pl.concat([empty, raw.cells.select(*known, "source_line")], how="diagonal"), wrong


def _days(days: Sequence[Day]) -> pl.DataFrame:
    rows = [
        {
            "technician": day.technician,
            "date": day.date,
            "truck": day.truck,
            "opens": clock(day.opens),
            "closes": clock(day.closes),
            "work_limit_minutes": day.work_limit / 10,
        }
        for day in days
    ]
    schema = {
        "technician": pl.String,
        "date": pl.Date,
        "truck": pl.String,
        "opens": pl.String,
        "closes": pl.String,
        "work_limit_minutes": pl.Float64,
    }
    return pl.DataFrame(rows, schema=schema)
