"""Unit page: what to do first, then every reading behind it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl

from reports.advice import Advice, Reason, advice, split_reason, split_reasons
from reports.charts.charge_history import charge_history
from reports.charts.drift_history import SECTION_NAMES, drift_frame, drift_history
from reports.charts.theme import Figure
from reports.format import chance, day, name, number, signed, words
from reports.page import Page, Site

UNIT_IDS = ("unit_ids",)
PAGE = Page(
    slug="unit",
    title="Unit",
    order=90,
    queries={
        "unit": UNIT_IDS,
        "unit_capacitor_forecast": UNIT_IDS,
        "unit_capacitor_readings": UNIT_IDS,
        "unit_charge_readings": UNIT_IDS,
        "unit_visits": UNIT_IDS,
        "unit_parts": UNIT_IDS,
    },
    many=True,
)

Row = dict[str, Any]


@dataclass(frozen=True)
class Section:
    """One capacitor section: its state in a sentence and its chart."""

    key: str
    title: str
    state: str
    figure: Figure | None


@dataclass(frozen=True)
class UnitPage:
    """Everything one unit's page shows."""

    file: str
    title: str
    unit: Row
    head: str
    leading: Reason
    advice: Advice
    reasons: tuple[Reason, ...]
    facts: tuple[tuple[str, str], ...]
    place: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...]
    capacitor: tuple[Row, ...]
    charge_state: str
    charge_figures: tuple[Figure, ...]
    charge: tuple[Row, ...]
    visits: tuple[Row, ...]
    parts: tuple[Row, ...]


def build(frames: Mapping[str, pl.DataFrame], site: Site) -> Iterator[UnitPage]:
    """Yield one context per unit of the frame ``unit``, in its order."""
    groups = {query: _by_unit(frames[query]) for query in PAGE.queries if query != "unit"}
    for unit in frames["unit"].iter_rows(named=True):
        unit_id = unit["unit_id"]
        yield _page(unit, {query: rows.get(unit_id, []) for query, rows in groups.items()}, site.unit_files[unit_id])


def _by_unit(frame: pl.DataFrame) -> dict[str, list[Row]]:
    groups: dict[str, list[Row]] = {}
    for row in frame.iter_rows(named=True):
        groups.setdefault(row["unit_id"], []).append(row)
    return groups


def _page(unit: Row, rows: Mapping[str, list[Row]], file: str) -> UnitPage:
    leading = split_reason(unit["leading_reason"])
    charge = rows["unit_charge_readings"]
    figures = (charge_history(f"chart-{metric}", metric, charge) for metric in ("superheat", "subcooling"))
    return UnitPage(
        file=file,
        title=f"Unit {name(unit['unit_id'])}",
        unit=unit,
        head=_head(unit),
        leading=leading,
        advice=advice()[leading.cause],
        reasons=split_reasons(unit["reasons"]),
        facts=_facts(unit),
        place=_place(unit),
        sections=_sections(rows["unit_capacitor_readings"], rows["unit_capacitor_forecast"], rows["unit_parts"]),
        capacitor=_newest_first(rows["unit_capacitor_readings"]),
        charge_state=_charge_state(charge),
        charge_figures=tuple(figure for figure in figures if figure),
        charge=tuple(reversed(charge)),
        visits=tuple(rows["unit_visits"]),
        parts=tuple(rows["unit_parts"]),
    )


def _head(unit: Row) -> str:
    if unit["p_failure"] is None:
        return "No chance could be worked out for this unit."
    line = f"{number(unit['rank'])} of {number(unit['units_active'])} in line"
    text = "On the watch list" if unit["flagged"] else "Not flagged"
    by = f" by {day(unit['season_end'])}" if unit["season_end"] else ""
    return f"{text}, {line}: {chance(unit['p_failure'])} for a no-cooling call{by} if nothing is done"


def _facts(unit: Row) -> tuple[tuple[str, str], ...]:
    system = ", ".join(
        part for part in (words(unit["equipment"]), name(unit["make"]), name(unit["model"])) if part != "–" and part
    )
    warranty = ", ".join(
        f"{label} {number(unit[field])} years"
        for label, field in (
            ("parts", "parts_warranty_years"),
            ("compressor", "compressor_warranty_years"),
            ("labor", "labor_warranty_years"),
        )
        if unit[field] is not None
    )
    facts = (
        ("System", system),
        ("Serial", name(unit["serial"])),
        ("Size", f"{number(unit['nominal_tons'], 1)} tons" if unit["nominal_tons"] else ""),
        ("Refrigerant", name(unit["refrigerant"])),
        (
            "Metering",
            {"txv": "TXV", "eev": "EEV"}.get(unit["metering"] or "", words(unit["metering"]))
            if unit["metering"]
            else "",
        ),
        ("Factory charge", f"{number(unit['factory_charge_oz'])} oz" if unit["factory_charge_oz"] else ""),
        ("Installed", day(unit["installed_on"]) if unit["installed_on"] else ""),
        ("Made", day(unit["manufactured_on"]) if unit["manufactured_on"] else ""),
        ("Warranty terms", warranty),
        ("Registered", words(unit["registered"]) if unit["registered"] else ""),
        ("Last visit", day(unit["last_visit_on"])),
    )
    return tuple((label, text) for label, text in facts if text)


def _place(unit: Row) -> tuple[tuple[str, str], ...]:
    town = " ".join(name(unit[field]) for field in ("city", "state", "postal_code") if unit[field])
    place = (
        ("Customer", name(unit["customer_name"])),
        ("Phone", name(unit["phone"])),
        ("Street", name(unit["address"])),
        ("Town", town),
        ("On site", name(unit["unit_location"])),
        ("Access", name(unit["access_notes"])),
        ("Agreement", words(unit["agreement"]) if unit["agreement"] else ""),
        ("Owner since", day(unit["owner_since"]) if unit["owner_since"] else ""),
    )
    return tuple((label, text) for label, text in place if text)


def _sections(readings: Sequence[Row], forecasts: Sequence[Row], parts: Sequence[Row]) -> tuple[Section, ...]:
    found = {row["section"] for row in readings} | {row["section"] for row in forecasts}
    frame = drift_frame(readings, forecasts)
    return tuple(
        _section(
            key,
            [row for row in readings if row["section"] == key],
            next((row for row in forecasts if row["section"] == key), None),
            parts,
            frame,
        )
        for key in SECTION_NAMES
        if key in found
    )


def _section(
    key: str,
    readings: list[Row],
    forecast: Row | None,
    parts: Sequence[Row],
    frame: tuple[list[str], list[float]],
) -> Section:
    figure = drift_history(f"chart-{key}", key, readings, forecast, _replaced_on(key, readings, parts), frame)
    return Section(key, SECTION_NAMES[key], _state(readings, forecast), figure)


def _newest_first(readings: Sequence[Row]) -> tuple[Row, ...]:
    places = {key: place for place, key in enumerate(SECTION_NAMES)}
    return tuple(
        sorted(
            readings,
            key=lambda row: (-row["visit_date"].toordinal(), places.get(row["section"], 9), row["is_new_part"] is True),
        )
    )


def _replaced_on(key: str, readings: Sequence[Row], parts: Sequence[Row]) -> list[dt.date]:
    series = {
        row["started_on"] for row in readings if row["start_kind"] in {"fitted", "inferred"} and row["started_on"]
    }
    ratings = ("cap_herm_uf", "cap_fan_uf", "cap_blower_uf")
    fitted = {
        row["visit_date"]
        for row in parts
        if row["part"] == "run_capacitor"
        and (row[f"cap_{key}_uf"] or (key != "blower" and all(row[rating] is None for rating in ratings)))
    }
    return sorted(series | fitted)


BASIS: Mapping[str, str] = {
    "readings": "from its own readings",
    "age": "from its age, it has no usable reading",
    "fleet": "from the fleet's average, it has no usable reading",
}


def _state(readings: Sequence[Row], forecast: Row | None) -> str:
    if forecast is None or forecast["drift_pct"] is None:
        return "No estimate: nothing is known of this section." if not readings else "No estimate for this section."
    basis = BASIS.get(forecast["basis"] or "", "")
    parts = [f"Estimated {signed(forecast['drift_pct'])} % from its rating today{', ' + basis if basis else ''}."]
    if forecast["already_out"]:
        parts.append("It is out of tolerance now.")
    elif forecast["p_out_by_season_end"] is not None:
        text = f"Out of tolerance by {day(forecast['season_end'])}: {chance(forecast['p_out_by_season_end'])}"
        if forecast["out_of_tolerance_on"]:
            text += f"; as likely before as after {day(forecast['out_of_tolerance_on'])}"
        parts.append(text + ".")
    return " ".join(parts)


VERDICTS: Mapping[str, str] = {
    "low": "charge looks low",
    "within": "charge within its band",
    "high": "charge looks high",
    "airflow_first": "airflow to be checked before the charge is judged",
    "not_testable": "charge not testable",
}


def _charge_state(charge: Sequence[Row]) -> str:
    if not charge:
        return "No visit has the readings that charge is judged by."
    judged = [row for row in charge if row["charge_verdict"] not in {None, "not_testable"}]
    if not judged:
        why = charge[-1]["not_testable_because"]
        return f"Never testable so far; on {day(charge[-1]['visit_date'])}: {words(why) if why else 'reason not said'}."
    last = judged[-1]
    edge = ", near the edge of the band" if last["borderline"] else ""
    verdict = VERDICTS.get(last["charge_verdict"], words(last["charge_verdict"]))
    return f"Last judged on {day(last['visit_date'])}: {verdict}{edge}."
