"""Failure rates and the warranty book of the whole store, as of a day; both move with it, so all is written again."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import duckdb
import polars as pl

from pipeline.config import Season, Settings
from pipeline.enrich.notes.sections import FITTED, PART
from pipeline.enrich.register_faults import register_faults
from pipeline.forecast.callbacks import callbacks, came_back, followed
from pipeline.forecast.capacitor_hazards import capacitor_hazards, section_lives
from pipeline.forecast.exposure import counted_failures, exposure
from pipeline.forecast.failure_rates import contributions, failure_rates
from pipeline.forecast.gathered import repairs_gathered
from pipeline.forecast.lifetimes import life_groups, lifetimes, survival_curves
from pipeline.forecast.lives import component_spans, unit_spans
from pipeline.forecast.part_quality import drift_slopes, part_quality
from pipeline.forecast.seasons import season
from pipeline.forecast.service import parts_in_service
from pipeline.forecast.trends import season_trend, yearly_change
from pipeline.store.derived import replace_rows
from pipeline.store.history import parts_of, units_of, visits_of
from pipeline.store.query import query
from pipeline.warranty.book import VISIT_COLUMNS, warranty_book

COLUMNS = tuple(dict.fromkeys([*VISIT_COLUMNS, "technician"]))
"""Fields of visits that are read, once for all."""


Tables = dict[str, pl.DataFrame]
"""Tables of ``core`` by name."""


@dataclass(frozen=True)
class Fleet:
    """The whole store as the rates read it, up to a day."""

    as_of: dt.date
    visits: pl.DataFrame
    parts: pl.DataFrame
    units: pl.DataFrame
    places: pl.DataFrame
    sites: pl.DataFrame
    readings: pl.DataFrame
    series: pl.DataFrame
    exposed: pl.DataFrame
    failed: pl.DataFrame


def read_fleet(con: duckdb.DuckDBPyConnection, as_of: dt.date, settings: Settings) -> Fleet:
    """Return visits, parts and register of the whole store, with exposure and the failures that count in it."""
    visits, units = visits_of(con, None, as_of, COLUMNS), units_of(con, None, as_of)
    exposed = exposure(units, as_of, settings.units.unseen_months)
    return Fleet(
        as_of=as_of,
        visits=visits,
        parts=parts_of(con, None, as_of),
        units=units,
        places=query(con, "units").select("unit_id", "source_file", "source_line"),
        sites=query(con, "sites"),
        readings=query(con, "core.capacitor_readings"),
        series=query(con, "core.capacitor_series"),
        exposed=exposed,
        failed=counted_failures(visits, exposed),
    )


SLOPE_COLUMNS = ("unit_id", "section", "series", "part_make", "rated_uf", "n", "years", "slope")


def rates_and_lives(fleet: Fleet, dates: Season, degree_days: pl.DataFrame | None) -> Tables:
    """Return every table but those of the warranty book; nothing of it rests on the forecast."""
    return _rates(fleet) | _lives(fleet, dates, degree_days)


def write_tables(con: duckdb.DuckDBPyConnection, tables: Tables) -> None:
    """Rewrite tables of ``core``."""
    for name, frame in tables.items():
        replace_rows(con, name, frame, None)


def _rates(fleet: Fleet) -> Tables:
    """Return the rates of every group, what they were counted from, and what contradicts itself in the register."""
    service = parts_in_service(fleet.parts, fleet.exposed, fleet.failed)
    shares = contributions(fleet.units, fleet.sites, service, fleet.exposed, fleet.failed)
    placed = fleet.units.join(fleet.places, on="unit_id", how="left")
    return {
        "failure_rates": failure_rates(shares, fleet.exposed, fleet.failed),
        "rate_rows": shares.drop("expected"),
        "failures_counted": fleet.failed,
        "part_failures": service.failed,
        "register_faults": register_faults(placed, fleet.visits, fleet.parts),
    }


def _lives(fleet: Fleet, dates: Season, degree_days: pl.DataFrame | None) -> Tables:
    """Return lifetimes, repairs gathered by age, trouble after visits, capacitor drift by make, and the trend."""
    lives = [
        unit_spans(fleet.units, fleet.exposed),
        component_spans(fleet.units, fleet.exposed, fleet.visits, fleet.parts, fleet.failed, fleet.readings),
    ]
    spans = pl.concat(lives)
    groups = life_groups(spans)
    jobs, slopes = followed(fleet.visits), drift_slopes(fleet.readings, fleet.series)
    sections = section_lives(fleet.series, fleet.readings, fleet.failed)
    trend = season_trend(fleet.exposed, fleet.failed, fleet.as_of, dates.start, dates.end, degree_days)
    ended = spans.filter(pl.col("ended_by") != "still there").rename({"leave": "age_years"})
    out = sections.filter(pl.col("event").is_not_null())
    return {
        "lifetimes": lifetimes(groups),
        "survival_curves": survival_curves(groups),
        "capacitor_hazards": capacitor_hazards(sections),
        "repairs_gathered": repairs_gathered(fleet.units, fleet.exposed, fleet.visits),
        "callbacks": callbacks(jobs, fleet.as_of),
        "part_quality": part_quality(slopes),
        "lives_ended": ended.drop("entry", "failed"),
        "came_back": came_back(jobs),
        "sections_out": out.select("unit_id", "section", "series", out_on="event", age_years="leave"),
        "drift_slopes": slopes.select(list(SLOPE_COLUMNS)),
        "season_trend": trend,
        "yearly_change": yearly_change(trend),
    }


def write_warranty(con: duckdb.DuckDBPyConnection, fleet: Fleet, settings: Settings) -> None:
    """Rewrite claims, terms, installs to register and what was not billed."""
    book = warranty_book(
        visits=fleet.visits,
        parts=fleet.parts,
        units=fleet.units,
        sites=fleet.sites,
        readings=fleet.readings,
        sections=query(con, "core.section_forecast"),
        findings=query(con, "core.open_findings"),
        told=_told(con),
        settings=settings.warranty,
        as_of=fleet.as_of,
        season_end=season(fleet.as_of, settings.season.start, settings.season.end).end,
    )
    replace_rows(con, "warranty_claims", book.claims, None)
    replace_rows(con, "warranty_terms", book.terms, None)
    replace_rows(con, "installs_to_register", book.to_register, None)
    replace_rows(con, "not_billed", book.unbilled, None)


def _told(con: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """Return the parts and the refrigerant that notes alone tell of: unit_id, visit_id, item, quantity, snippet."""
    fitted = (pl.col("kind") == PART) & (pl.col("value_text") == FITTED)
    added = pl.col("field") == "refrigerant_added_oz"
    return (
        query(con, "core.note_readings")
        .filter(pl.col("used") & (fitted | added))
        .select(
            "unit_id",
            "visit_id",
            item=pl.when(added).then(pl.lit("refrigerant")).otherwise(pl.lit("run_capacitor")),
            quantity=pl.when(added).then("value").otherwise(1.0),
            snippet="snippet",
        )
        .sort("unit_id", "visit_id", "item", "snippet")
        .unique(["unit_id", "visit_id", "item"], keep="first", maintain_order=True)
    )
