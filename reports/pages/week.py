"""One week of the round: each technician's days, and what to load."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import polars as pl

from reports.charts.round_map import RoundMap, round_map
from reports.page import Page, Site
from reports.round_words import (
    Row,
    minutes,
    reason_lines,
    sheet_file,
    stock_rows,
    week_file,
    weekday,
    work_words,
)

PAGE = Page(
    slug="week", title="Week", order=94, queries={"spring_round_stops": (), "spring_round_stock": ()}, many=True
)


@dataclass(frozen=True)
class Day:
    """One technician-day."""

    heading: str
    sheet: str
    drive: str
    service: str
    stops: tuple[Row, ...]


@dataclass(frozen=True)
class Load:
    """What one truck carries this week."""

    truck: str
    covers: str
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class WeekPage:
    """Everything one week's page shows."""

    file: str
    monday: dt.date
    days: tuple[Day, ...]
    loads: tuple[Load, ...]
    map: RoundMap | None
    stops: int
    before: str | None
    after: str | None


def build(frames: Mapping[str, pl.DataFrame], site: Site) -> Iterator[WeekPage]:
    """Yield one context per week."""
    stops, stock = frames["spring_round_stops"], frames["spring_round_stock"].filter(pl.col("for_what") == "week")
    mondays = stops["week_start"].unique().sort().to_list()
    for n, monday in enumerate(mondays):
        rows = stops.filter(pl.col("week_start") == monday)
        yield WeekPage(
            file=week_file(monday),
            monday=monday,
            days=tuple(_days(rows, site)),
            loads=_loads(stock.filter(pl.col("week_start") == monday), site),
            map=round_map(rows.select("technician", "lat", "lon").rows(named=True)),
            stops=rows.height,
            before=week_file(mondays[n - 1]) if n else None,
            after=week_file(mondays[n + 1]) if n + 1 < len(mondays) else None,
        )


def _days(rows: pl.DataFrame, site: Site) -> Iterator[Day]:
    for (date, technician), stops in (
        rows.sort("date", "technician", "stop")
        .partition_by("date", "technician", as_dict=True, maintain_order=True)
        .items()
    ):
        assert isinstance(date, dt.date)
        who = str(technician)
        yield Day(
            heading=f"{weekday(date)}, {who}",
            sheet=sheet_file(who, date, with_names=site.with_names),
            drive=minutes(float(stops["drive_minutes"].sum())),
            service=minutes(float(stops["service_minutes"].sum())),
            stops=tuple(
                {**row, "work_words": work_words(row["work"]), "why": reason_lines(row["reasons"])[:2]}
                for row in stops.iter_rows(named=True)
            ),
        )


def _loads(stock: pl.DataFrame, site: Site) -> tuple[Load, ...]:
    loads = []
    for n, ((truck,), rows) in enumerate(
        stock.partition_by("truck", as_dict=True, maintain_order=True).items(), start=1
    ):
        caps = rows.filter(pl.col("part") == "run_capacitor")
        covers = f"{caps['covers_pct'][0]:.0f} %" if caps.height else ""
        loads.append(Load(str(truck) if site.with_names else f"Truck {n}", covers, stock_rows(rows)))
    return tuple(loads)
