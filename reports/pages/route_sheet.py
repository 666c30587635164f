"""One sheet per technician-day, to print: hours, why we come, last readings, boxes to fill in, parts, cautions."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from reports.advice import advice
from reports.format import day, number, section, sentence_start, signed, words
from reports.page import Page, Site
from reports.round_words import (
    Row,
    minutes,
    part_words,
    reason_lines,
    sheet_file,
    size_words,
    week_file,
    weekday,
    work_words,
)
from reports.unit_facts import METERING

PAGE = Page(
    slug="route_sheet",
    title="Route sheet",
    order=95,
    queries={
        "spring_round_stops": (),
        "route_sheet_capacitors": (),
        "route_sheet_charge": (),
        "route_sheet_parts": (),
    },
    many=True,
)
WINDOW_MINUTES = 60
"""Width of the hour told to a customer who was promised none (common practice, no source)."""
CAUSES_OF_CAUTIONS = ("run_capacitor", "refrigerant_leak", "condenser_fan_motor")


@dataclass(frozen=True)
class Sheet:
    """Everything one sheet shows."""

    file: str
    title: str
    week: str
    monday: dt.date
    technician: str
    truck: str
    summary: str
    stops: tuple[Row, ...]
    parts: tuple[Row, ...]
    cautions: tuple[str, ...]


def build(frames: Mapping[str, pl.DataFrame], site: Site) -> Iterator[Sheet]:
    """Yield one context per technician and date."""
    stops = frames["spring_round_stops"]
    capacitors = _by_unit(frames["route_sheet_capacitors"])
    charge = _by_unit(frames["route_sheet_charge"])
    parts = frames["route_sheet_parts"].partition_by("technician", "date", as_dict=True)
    for (technician, date), rows in stops.partition_by("technician", "date", as_dict=True, maintain_order=True).items():
        assert isinstance(date, dt.date)
        who = str(technician)
        carried = parts.get((technician, date))
        monday = rows["week_start"][0]
        yield Sheet(
            file=sheet_file(str(technician), date, with_names=site.with_names),
            title=f"{weekday(date)}, {who}",
            week=week_file(monday),
            monday=monday,
            technician=who,
            truck=(rows["truck"][0] or "") if site.with_names and rows["truck"][0] != technician else "",
            summary=_summary(rows),
            stops=tuple(_stop(row, capacitors, charge) for row in rows.iter_rows(named=True)),
            parts=tuple(_part(row) for row in carried.iter_rows(named=True)) if carried is not None else (),
            cautions=_cautions(),
        )


def _by_unit(frame: pl.DataFrame) -> dict[str, list[Row]]:
    found: dict[str, list[Row]] = {}
    for row in frame.iter_rows(named=True):
        found.setdefault(row["unit_id"], []).append(row)
    return found


def _summary(rows: pl.DataFrame) -> str:
    drive, service = float(rows["drive_minutes"].sum()), float(rows["service_minutes"].sum())
    places = rows.filter((pl.col("drive_minutes") > 0) | (pl.col("stop") == 1)).height
    return (
        f"{rows.height} units at {places} addresses; {minutes(drive)} on the road there, {minutes(service)} of work. "
        f"Day {rows['opens'][0] or '–'} to {rows['closes'][0] or '–'}."
    )


def _stop(row: Row, capacitors: Mapping[str, Sequence[Row]], charge: Mapping[str, Sequence[Row]]) -> Row:
    sections = capacitors.get(row["unit_id"], ())
    last = charge.get(row["unit_id"], ())
    return {
        **row,
        "window": _window(row["arrive"]),
        "drive": minutes(row["drive_minutes"]),
        "service": minutes(row["service_minutes"]),
        "work_words": sentence_start(work_words(row["work"])),
        "why": reason_lines(row["reasons"]),
        "system": ", ".join(
            text
            for text in (
                row["make"] or "",
                row["model"] or "",
                f"{row['nominal_tons']:g} tons" if row["nominal_tons"] else "",
                row["refrigerant"] or "refrigerant not known",
                METERING.get(row["metering"] or "", ""),
            )
            if text
        ),
        "last": (*(_section(one) for one in sections), *(_charge(one) for one in last)),
        "boxes": (
            *(f"{section(one['section'])} µF (rated {number(one['rated_uf'], 1)})" for one in sections),
            *(() if sections else ("hermetic µF, rated", "fan µF, rated")),
            "outdoor °F",
            "return dry / wet bulb °F",
            "supply °F",
            "suction / liquid psig",
            "suction / liquid line °F",
            "refrigerant added oz",
            "part fitted, size, new µF",
            "seen, notes",
        ),
    }


def _window(arrive: str | None) -> str:
    """Return the hour in which the technician comes, from the planned minute on: ``08:20 to 09:20``."""
    try:
        hour, minute = (int(part) for part in (arrive or "").split(":"))
    except ValueError:
        return "hour not set"
    start = (hour * 60 + minute) // 10 * 10
    end = start + WINDOW_MINUTES
    return f"{start // 60:02d}:{start % 60:02d} to {end // 60:02d}:{end % 60:02d}"


def _section(row: Row) -> str:
    rated = f"{section(row['section'])} rated {row['rated_uf']:g} µF" + (f" {row['volts']:g} V" if row["volts"] else "")
    if row["measured_uf"] is None:
        return f"{rated}, not read yet"
    return f"{rated}, read {number(row['measured_uf'], 2)} ({signed(row['drift_pct'])} %) on {day(row['read_on'])}"


def _charge(row: Row) -> str:
    values = [
        f"{name} {number(row[key], 1)} °F"
        for name, key in (("superheat", "superheat_f"), ("subcooling", "subcooling_f"))
        if row[key] is not None
    ]
    verdict = words(row["charge_verdict"])
    return f"charge on {day(row['read_on'])}: {', '.join([*values, verdict])}"


def _part(row: Row) -> Row:
    return {
        **row,
        "part_words": part_words(row["part"]),
        "size_words": size_words(row["size"]),
        "substitutes": (row["substitutes"] or "").replace("uF", "µF"),
    }


def _cautions() -> tuple[str, ...]:
    """Return the cautions of every kind of work on the round, each once."""
    return tuple(dict.fromkeys(text for cause in CAUSES_OF_CAUTIONS for text in advice()[cause].cautions))
