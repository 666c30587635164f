"""What a customer is told of the system, in plain words, to print and hand over."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from reports.advice import OTHER, Reason, advice, label
from reports.charge_words import finding
from reports.format import chance, chance_range, day, name, number, section, sentence_start, words
from reports.unit_facts import equipment

Row = Mapping[str, Any]

WHY: Mapping[str, str] = {
    "maintenance": "maintenance",
    "no_cooling": "no cooling",
    "repair": "repair",
    "install": "installation",
    "callback": "return visit",
    "inspection": "inspection",
}
SIDES: Mapping[str, str] = {"herm": "compressor side", "fan": "outdoor fan side", "blower": "indoor fan side"}
SAID = frozenset({"weak_hermetic_section", "weak_fan_section", "weak_blower_section", "charge_low", "charge_high"})
"""Findings that the readings above them say already."""
MOST_VISITS = 4
MOST_CAUSES = 3
MOST_FINDINGS = 4


@dataclass(frozen=True)
class Handout:
    """The customer's page.

    Attributes
    ----------
    found
        What was measured or seen, a sentence each.
    outlook
        The chance in words, or None where none could be worked out.
    proposals
        Component and why it matters, the leading one first.
    """

    found: tuple[str, ...]
    outlook: str | None
    proposals: tuple[tuple[str, str], ...]
    system: str
    warranty: tuple[str, ...]
    visits: tuple[tuple[str, str], ...]


def handout(unit: Row, reasons: Sequence[Reason], rows: Mapping[str, Sequence[Row]]) -> Handout:
    """Return the page's words.

    Parameters
    ----------
    unit
        Row of the query ``unit``.
    reasons
        Its reasons, the leading one first.
    rows
        Rows of the unit by page query: capacitor and charge readings, findings, visits, warranty.
    """
    sections = _newest(rows["unit_capacitor_readings"])
    found = [*(_capacitor(row) for row in sections), *_charge(rows["unit_charge_readings"])]
    still_open = [row for row in rows["unit_findings"] if row["resolved_on"] is None and row["finding"] not in SAID]
    found += [
        f"{sentence_start(finding(row['finding']))}, seen on {day(row['found_on'])}."
        for row in still_open[:MOST_FINDINGS]
    ]
    causes = list(dict.fromkeys(reason.cause for reason in reasons))
    if any(row["out_of_tolerance"] for row in sections) and "run_capacitor" not in causes:
        causes.insert(0, "run_capacitor")
    named = [cause for cause in causes if cause != OTHER] or causes
    return Handout(
        found=tuple(found),
        outlook=_outlook(unit),
        proposals=tuple((advice()[cause].label, advice()[cause].plain) for cause in named[:MOST_CAUSES]),
        system=_system(unit),
        warranty=_warranty(rows["unit_warranty"]),
        visits=tuple((day(row["visit_date"]), _visit(row)) for row in rows["unit_visits"][:MOST_VISITS]),
    )


def _newest(readings: Sequence[Row]) -> list[Row]:
    newest = {
        row["section"]: row
        for row in readings
        if row["drift_pct"] is not None and not row["suspect"] and not row["at_replacement"]
    }
    return [newest[key] for key in SIDES if key in newest]


def _capacitor(row: Row) -> str:
    side = SIDES.get(row["section"], section(row["section"]))
    off = (
        "at its label"
        if abs(row["drift_pct"]) < 0.5
        else f"{_off(row)} % {'under' if row['drift_pct'] < 0 else 'over'} its label"
    )
    state = "outside what the label allows" if row["out_of_tolerance"] else "within what the label allows"
    return (
        f"Capacitor, {side}: {number(row['measured_uf'], 1)} of {row['rated_uf']:g} µF on "
        f"{day(row['visit_date'])}, {off}; {state} (±{number(row['tolerance_pct'])} %)."
    )


def _off(row: Row) -> str:
    """Return the size of a drift; with a decimal where the whole number would be the tolerance itself."""
    size = abs(row["drift_pct"])
    return number(size, 1 if round(size) == row["tolerance_pct"] and size != row["tolerance_pct"] else 0)


CHARGE: Mapping[str, str] = {
    "low": "the readings point to too little refrigerant or a restriction, to be looked into",
    "within": "the readings were in order",
    "high": "the readings point to too much refrigerant, to be looked into",
    "airflow_first": "the air flow is to be checked before the refrigerant can be judged",
}


def _charge(charge: Sequence[Row]) -> list[str]:
    judged = [row for row in charge if row["charge_verdict"] in CHARGE]
    if not judged:
        return []
    return [f"Refrigerant, {day(judged[-1]['visit_date'])}: {CHARGE[judged[-1]['charge_verdict']]}."]


def _outlook(unit: Row) -> str | None:
    if unit["p_failure"] is None or unit["season_end"] is None:
        return None
    likely = chance_range(unit["p_low"], unit["p_high"])
    between = f" ({likely})" if likely else ""
    return (
        f"From records of systems like yours we put the chance that it stops cooling at least once by "
        f"{day(unit['season_end'])}, if nothing is done, at {chance(unit['p_failure'])}{between}. "
        "This is an estimate from past readings, not a diagnosis; the visit decides."
    )


def _system(unit: Row) -> str:
    said = [
        sentence_start(equipment(unit["equipment"])) if unit["equipment"] else "",
        name(unit["make"]),
        name(unit["model"]),
        f"serial {name(unit['serial'])}" if unit["serial"] else "",
        f"installed {day(unit['installed_on'])}" if unit["installed_on"] else "",
        f"refrigerant {name(unit['refrigerant'])}" if unit["refrigerant"] else "",
    ]
    return ", ".join(part for part in said if part)


def _warranty(rows: Sequence[Row]) -> tuple[str, ...]:
    tests = [row for row in rows if row["state"] == "test_before_lapse" and row["deadline"]]
    terms = dict.fromkeys((row["part"], day(row["deadline"])) for row in tests)
    return tuple(
        f"{'A leak we suspect' if part == 'refrigerant_leak' else label(part)}: by our records the maker's "
        f"{'compressor' if part == 'compressor' else 'parts'} warranty runs to {until}; we would like to test it "
        "before then. The maker decides on a claim."
        for part, until in terms
    )


def _visit(row: Row) -> str:
    why = WHY.get(row["visit_type"] or "", words(row["visit_type"]) if row["visit_type"] else "visit")
    return f"{why}, {label(row['cause']).lower()}" if row["cause"] else why
