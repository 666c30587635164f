"""Unit page: what to do first, then every reading behind it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl

from reports.advice import Reason, split_reason, split_reasons
from reports.charts.charge_history import charge_history
from reports.charts.drift_history import SECTION_NAMES, drift_extent, drift_history
from reports.charts.theme import Figure, date_range
from reports.claim_words import STATES, left, part_words
from reports.format import chance, day, known_as, name, number, reason_text, section, signed, words
from reports.page import Page, Site
from reports.unit_charge import QUERIES as CHARGE_QUERIES
from reports.unit_charge import ChargeCare, charge_care, told
from reports.unit_customer import Handout, handout
from reports.unit_evidence import Backed, backed
from reports.unit_facts import capacitor_in_place, place_facts, system_facts
from reports.unit_todo import Todo, todo

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
        "unit_warranty": UNIT_IDS,
        **dict.fromkeys(CHARGE_QUERIES, UNIT_IDS),
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
    todo: Todo
    reasons: tuple[Backed, ...]
    facts: tuple[tuple[str, str], ...]
    place: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...]
    capacitor: tuple[Row, ...]
    charge_state: str
    charge_figures: tuple[Figure, ...]
    charge: tuple[Row, ...]
    care: ChargeCare
    visits: tuple[Row, ...]
    parts: tuple[Row, ...]
    warranty: tuple[Row, ...]
    customer: Handout


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
    readings, charge = rows["unit_capacitor_readings"], rows["unit_charge_readings"]
    reasons = split_reasons(unit["reasons"])
    seen = [row["visit_date"] for row in readings + charge]
    dates = date_range([*seen, *(date for date in (unit["as_of"], unit["season_end"]) if date)])
    figures = (charge_history(f"chart-{metric}", metric, charge, dates) for metric in ("superheat", "subcooling"))
    size = capacitor_in_place(unit, readings)
    leading = split_reason(unit["leading_reason"])
    steps = todo(leading, reasons, _newest_verdict(charge), size, _weak(readings, leading))
    return UnitPage(
        file=file,
        title=_title(unit),
        unit=unit,
        head=_head(unit),
        todo=steps,
        reasons=backed(reasons, unit, rows),
        facts=system_facts(unit, readings),
        place=place_facts(unit),
        sections=_sections(readings, rows["unit_capacitor_forecast"], rows["unit_parts"], dates),
        capacitor=_newest_first(readings),
        charge_state=_charge_state(charge),
        charge_figures=tuple(figure for figure in figures if figure),
        charge=tuple(reversed(told(charge))),
        care=charge_care(charge, rows, steps.cautions),
        visits=tuple(rows["unit_visits"]),
        parts=tuple(rows["unit_parts"]),
        warranty=tuple(_claim(row) for row in rows["unit_warranty"]),
        customer=handout(unit, reasons, rows),
    )


def _claim(row: Row) -> Row:
    return {
        **row,
        "part_words": part_words(row),
        "state_words": STATES.get(row["state"], words(row["state"])),
        "left": left(row["deadline"], row["days_left"]),
    }


def _title(unit: Row) -> str:
    called = known_as(unit["unit_id"], unit["customer_name"], unit["address"])
    return f"Unit {called}" if called == name(unit["unit_id"]) else called


def _head(unit: Row) -> str:
    if unit["p_failure"] is None:
        return "No chance could be worked out for this unit."
    if unit["flagged"]:  # the place it has on the watch list, which leaves out units that nobody has seen for long
        text, line = "On the watch list", f"{number(unit['watch_place'])} of {number(unit['units_flagged'])}"
    else:
        text, line = "Not flagged", f"{number(unit['rank'])} of {number(unit['units_active'])} in line"
    by = f" by {day(unit['season_end'])}" if unit["season_end"] else ""
    return f"{text}, {line}: {chance(unit['p_failure'])} for a no-cooling call{by} if nothing is done"


def _sections(
    readings: Sequence[Row], forecasts: Sequence[Row], parts: Sequence[Row], dates: list[str]
) -> tuple[Section, ...]:
    found = {row["section"] for row in readings} | {row["section"] for row in forecasts}
    extent = drift_extent(readings, forecasts)
    return tuple(
        _section(
            key,
            [row for row in readings if row["section"] == key],
            next((row for row in forecasts if row["section"] == key), None),
            parts,
            dates,
            extent,
        )
        for key in SECTION_NAMES
        if key in found
    )


def _section(
    key: str,
    readings: list[Row],
    forecast: Row | None,
    parts: Sequence[Row],
    dates: list[str],
    extent: list[float],
) -> Section:
    figure = drift_history(f"chart-{key}", key, readings, forecast, _replaced_on(key, readings, parts), dates, extent)
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
    out = _read_out(readings)
    if out:
        parts.append(f"It read out of tolerance on {day(out['visit_date'])}.")
    elif forecast["already_out"]:
        parts.append("More likely than not it has left its tolerance since it was last read.")
    elif forecast["p_out_by_season_end"] is not None:
        text = f"Out of tolerance by {day(forecast['season_end'])}: {chance(forecast['p_out_by_season_end'])}"
        if forecast["out_of_tolerance_on"]:
            text += f"; as likely before as after {_soon(forecast['out_of_tolerance_on'], forecast['season_end'])}"
        parts.append(text + ".")
    return " ".join(parts)


def _read_out(readings: Sequence[Row]) -> Row | None:
    """Return a section's newest believed reading, where that is out of tolerance and the part is still in."""
    believed = [row for row in readings if not row["suspect"] and row["out_of_tolerance"] is not None]
    return (
        believed[-1] if believed and believed[-1]["out_of_tolerance"] and not believed[-1]["at_replacement"] else None
    )


def _weak(readings: Sequence[Row], leading: Reason) -> tuple[tuple[str, str], ...]:
    """Return each section last read out of tolerance, with what to do; not the one that the leading reason tells of."""
    return tuple(
        (
            SECTION_NAMES[key],
            f"read {signed(out['drift_pct'])} % from its rating on {day(out['visit_date'])}, where "
            f"±{out['tolerance_pct']:g} % is allowed. Test it on the bench; fit a new one if it is out again.",
        )
        for key in SECTION_NAMES
        if (out := _read_out([row for row in readings if row["section"] == key]))
        and not (leading.cause == "run_capacitor" and section(key) in leading.text)
    )


def _soon(date: dt.date, season_end: dt.date) -> str:
    """Return a date told for a day of the year ahead; further off only its year, as the range is years wide."""
    return day(date) if (date - season_end).days <= DAYS_TOLD else str(date.year)


DAYS_TOLD = 366
VERDICTS: Mapping[str, str] = {
    "low": "charge looks low",
    "within": "charge within its band",
    "high": "charge looks high",
    "airflow_first": "airflow to be checked before the charge is judged",
    "not_testable": "charge not testable",
}


def _newest_verdict(charge: Sequence[Row]) -> str | None:
    judged = [row["charge_verdict"] for row in charge if row["charge_verdict"] not in {None, "not_testable"}]
    return judged[-1] if judged else None


def _charge_state(charge: Sequence[Row]) -> str:
    if not charge:
        return "No visit has the readings that charge is judged by."
    judged = [row for row in charge if row["charge_verdict"] not in {None, "not_testable"}]
    if not judged:
        why = reason_text(charge[-1]["not_testable_because"] or "reason not said")
        return f"Never testable so far; on {day(charge[-1]['visit_date'])}: {why}."
    last = judged[-1]
    edge = ", near the edge of the band" if last["borderline"] else ""
    verdict = VERDICTS.get(last["charge_verdict"], words(last["charge_verdict"]))
    return f"Last judged on {day(last['visit_date'])}: {verdict}{edge}."
