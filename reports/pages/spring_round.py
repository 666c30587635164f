"""The spring round: who drives where in which week, what to load and order, and what did not fit."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from reports.charts.round_map import RoundMap, round_map
from reports.format import count, day, money, number, reason_text, sentence_start
from reports.page import Page, Site
from reports.round_words import (
    Row,
    minutes,
    reason_lines,
    sheet_file,
    stock_rows,
    stops_words,
    week_file,
    weekday,
)

PAGE = Page(
    slug="spring_round",
    title="Spring round",
    order=22,
    queries={
        "spring_round_stops": (),
        "spring_round_left": (),
        "spring_round_notes": (),
        "spring_round_hands": (),
        "spring_round_stock": (),
        "fleet_review_spring": (),
    },
)
LEFT_SHOWN = 200


@dataclass(frozen=True)
class Week:
    """One week of the round."""

    file: str
    monday: dt.date
    stops: int
    booked: int
    days: int
    drive: str
    service: str
    value: float
    work: str


@dataclass(frozen=True)
class NextDay:
    """The first day of the round: what to do before it, and a row per technician."""

    heading: str
    week: str
    to_book: int
    sheets: tuple[Row, ...]


@dataclass(frozen=True)
class StockGroup:
    """The rows of one use."""

    heading: str
    rows: tuple[Row, ...]
    cost: float


@dataclass(frozen=True)
class SpringRound:
    """Everything the page shows."""

    lead: str
    next_day: NextDay | None
    progress: tuple[tuple[str, str], ...]
    weeks: tuple[Week, ...]
    map: RoundMap | None
    left: tuple[Row, ...]
    left_count: int
    left_value: float
    orders: tuple[StockGroup, ...]
    trucks: tuple[StockGroup, ...]
    notes: tuple[str, ...]


def build(frames: Mapping[str, pl.DataFrame], site: Site) -> SpringRound:
    """Return the page's context from the marts' frames."""
    stops, left = frames["spring_round_stops"], frames["spring_round_left"]
    stock = frames["spring_round_stock"]
    left_value = float(left["value"].sum())
    return SpringRound(
        lead=_lead(stops, left, left_value, site),
        next_day=_next_day(stops, site),
        progress=_progress(frames["fleet_review_spring"].row(0, named=True), frames["spring_round_hands"], site),
        weeks=_weeks(stops, frames["spring_round_hands"]),
        map=round_map(stops.select("technician", "lat", "lon").rows(named=True)),
        left=tuple(
            {**row, "reasons": reason_lines(row["leading_reason"])}
            for row in left.head(LEFT_SHOWN).iter_rows(named=True)
        ),
        left_count=left.height,
        left_value=left_value,
        orders=_groups(stock.filter(pl.col("for_what") == "order"), named=True),
        trucks=_groups(stock.filter(pl.col("for_what") == "truck"), named=site.with_names),
        notes=tuple(_without_slug(note) for note in frames["spring_round_notes"]["note"] if site.with_names),
    )


def _next_day(stops: pl.DataFrame, site: Site) -> NextDay | None:
    """Return the first day that anybody drives."""
    first = stops["date"].min()
    if not isinstance(first, dt.date):
        return None
    rows = stops.filter(pl.col("date") == first)
    return NextDay(
        heading=weekday(first),
        week=week_file(rows["week_start"][0]),
        to_book=rows.filter(pl.col("status") != "booked").height,
        sheets=tuple(
            {
                "technician": str(technician),
                "file": sheet_file(str(technician), first, with_names=site.with_names),
                "stops": day.height,
                "first": day["arrive"][0],
                "town": day["city"][0],
                "to_book": day.filter(pl.col("status") != "booked").height,
                "driving": minutes(float(day["drive_minutes"].sum())),
                "work": minutes(float(day["service_minutes"].sum())),
            }
            for (technician,), day in rows.sort("technician", "stop")
            .partition_by("technician", as_dict=True, maintain_order=True)
            .items()
        ),
    )


def _without_slug(note: str) -> str:
    return note[: note.rfind(" [")] if note.endswith("]") and " [" in note else note


def _lead(stops: pl.DataFrame, left: pl.DataFrame, left_value: float, site: Site) -> str:
    if stops.is_empty():
        return (
            f"No stop is planned. {count(left.height, 'unit')} due on no route." if left.height else "Nothing is due."
        )
    days = stops.select("technician", "date").n_unique()
    first, last = (d for d in (stops["date"].min(), stops["date"].max()))
    assert isinstance(first, dt.date)
    assert isinstance(last, dt.date)
    booked = stops.filter(pl.col("status") == "booked").height
    text = f"{stops_words(stops.height, days)}, {day(first)} to {day(last)}; "
    text += f"{number(booked)} booked, {number(stops.height - booked)} to book."
    if left.height:
        text += (
            f" {count(left.height, 'unit')} did not fit: leaving them costs about {money(left_value, site.currency)}."
        )
    return text


def _progress(row: Row, hands: pl.DataFrame, site: Site) -> tuple[tuple[str, str], ...]:
    total, done, booked = (row[name] or 0 for name in ("agreement_units", "done", "booked"))
    weeks = hands["week_start"].n_unique()
    hours = float(hands["work_minutes"].sum()) / 60
    per_week = (total - done) / weeks if weeks else 0.0
    return (
        ("Agreement visits done", f"{number(done)} of {number(total)}"),
        ("Booked", number(booked)),
        ("Left to book", number(max(0, total - done - booked))),
        ("Weeks left in the round", number(weeks)),
        ("That is a week", number(per_week, 1)),
        ("Hands left", f"{count(hands['technician'].n_unique(), 'technician')}, {number(hours)} hours to plan"),
        ("Season begins", day(site.season_start)),
    )


def _weeks(stops: pl.DataFrame, hands: pl.DataFrame) -> tuple[Week, ...]:
    planned = stops.group_by("week_start").agg(
        stops=pl.len(),
        booked=(pl.col("status") == "booked").sum(),
        days=pl.struct("technician", "date").n_unique(),
        drive=pl.col("drive_minutes").sum(),
        service=pl.col("service_minutes").sum(),
        value=pl.col("value").sum(),
    )
    room = hands.group_by("week_start").agg(room=pl.col("work_minutes").sum())
    return tuple(
        Week(
            week_file(row["week_start"]),
            row["week_start"],
            row["stops"],
            row["booked"],
            row["days"],
            minutes(row["drive"]),
            minutes(row["service"]),
            row["value"],
            minutes(row["room"]) if row["room"] else "–",
        )
        for row in planned.join(room, on="week_start", how="left").sort("week_start").iter_rows(named=True)
    )


def _groups(stock: pl.DataFrame, *, named: bool) -> tuple[StockGroup, ...]:
    uses = stock.partition_by("for_which", as_dict=True, maintain_order=True).items()
    return tuple(
        StockGroup(
            sentence_start(reason_text(str(which))) if named else f"Truck {n}",
            stock_rows(rows),
            float(rows["cost"].sum()),
        )
        for n, ((which,), rows) in enumerate(uses, start=1)
    )
