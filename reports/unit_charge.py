"""A unit's charge in words: the newest answer with the signs behind it, the leak trend, the ledger, what is open."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from reports.advice import advice
from reports.charge_words import (
    FIRST_STEPS,
    KINDS,
    READINGS,
    VERDICTS,
    age,
    because,
    decision,
    fault,
    finding,
    next_reading,
    outside,
    rate,
)
from reports.format import chance, day, number, reason_text, sentence_start, signed, words

Row = Mapping[str, Any]

QUERIES = ("unit_fault_signs", "unit_charge_trend", "unit_ledger", "unit_findings")
"""Page queries that ``charge_care`` needs beside the charge readings."""
FROM: Mapping[str, str] = {
    "own history": "its own earlier visits",
    "equipment class in this fleet": "units of its kind in your fleet",
    "rules of thumb for the equipment class": "rules of thumb, for want of enough visits of its kind",
}
READ: Mapping[str, str] = {"superheat_off_f": "superheat_f", "subcooling_off_f": "subcooling_f"}
"""Readings that may be there without a target to hold them against."""
AIRFLOW: Mapping[str, str] = {
    "shown": "airflow shown to be in order",
    "doubtful": "airflow in doubt",
    "not_shown": "nothing shows the airflow",
}


@dataclass(frozen=True)
class Sign:
    """One reading against what was expected, and whether it fits the fault named."""

    reading: str
    off: str
    scatter: str
    table_says: str
    fits: str


@dataclass(frozen=True)
class ChargeCare:
    """What the unit page says of charge, refrigerant and findings."""

    answers: tuple[str, ...]
    signs: tuple[Sign, ...]
    fault_named: bool
    signs_heading: str
    first_step: str | None
    read_next: str | None
    missing: str | None
    trend: tuple[str, ...]
    suspected: bool
    cautions: tuple[str, ...]
    ledger: tuple[Row, ...]
    open_findings: tuple[Row, ...]
    closed_findings: tuple[Row, ...]


def told(charge: Sequence[Row]) -> list[dict[str, Any]]:
    """Return the charge readings with how sure each verdict is (``odds``) and the likely fault (``fault_said``)."""
    return [{**row, "odds": outside(row), "fault_said": _fault_said(row)} for row in charge]


def _fault_said(row: Row) -> str | None:
    if row["likely_fault"] in {None, "no_fault", "cannot_tell"}:
        return None
    return f"{fault(row['likely_fault'])}, {chance(row['p_fault'])}"


def charge_care(charge: Sequence[Row], rows: Mapping[str, Sequence[Row]], said: Sequence[str] = ()) -> ChargeCare:
    """Return what the page says.

    Parameters
    ----------
    charge
        Rows of ``unit_charge_readings`` of the unit, oldest first.
    rows
        Rows of ``QUERIES`` of the unit.
    said
        Cautions that already stand on the page.
    """
    signs = rows["unit_fault_signs"]
    answered = next((row for row in charge if signs and row["visit_id"] == signs[0]["visit_id"]), None)
    named = answered is not None and answered["likely_fault"] != "no_fault"
    trend = next(iter(rows["unit_charge_trend"]), None)
    suspected = bool(trend and trend["charge_loss_suspected"])
    ledger = tuple({**row, "what": KINDS.get(row["kind"] or "", words(row["kind"]))} for row in rows["unit_ledger"])
    findings = [_shown(row) for row in rows["unit_findings"]]
    acts = named or suspected or any(row["charge_verdict"] in {"low", "high"} for row in charge[-1:])
    return ChargeCare(
        answers=_answers(answered),
        signs=tuple(_sign(row, answered) for row in signs if answered),
        fault_named=bool(answered and answered["likely_fault"] not in {"no_fault", "cannot_tell"}),
        signs_heading=f"Readings of {day(answered['visit_date'])} against what was to be expected" if answered else "",
        first_step=FIRST_STEPS.get(answered["likely_fault"]) if answered and named else None,
        read_next=next_reading(charge[-1]["next_reading"]) if charge else None,
        missing=_missing(charge),
        trend=_trend(trend, ledger),
        suspected=suspected,
        cautions=tuple(c for c in advice()["refrigerant_leak"].cautions if acts and c not in said),
        ledger=ledger,
        open_findings=tuple(row for row in findings if row["resolved_on"] is None),
        closed_findings=tuple(row for row in findings if row["resolved_on"] is not None),
    )


def _answers(row: Row | None) -> tuple[str, ...]:
    """Return the newest fault answer, sentence by sentence."""
    if row is None:
        return ()
    verdict = sentence_start(VERDICTS.get(row["charge_verdict"], words(row["charge_verdict"])))
    odds = outside(row)
    parts = [f"{day(row['visit_date'])}: {verdict}{f' ({odds})' if odds else ''}; {_airflow(row)}."]
    seen = f", by {FROM.get(row['expected_from'] or '', words(row['expected_from']))}"
    if row["likely_fault"] == "no_fault":
        aside = "" if row["charge_verdict"] in {"within", "not_testable"} else "; the deviation alone may be scatter"
        parts.append(f"The readings together fit a system in order{seen}{aside}.")
    elif row["likely_fault"] == "cannot_tell":
        parts.append(f"Which fault it is cannot be told; the likeliest has {chance(row['p_fault'])}{seen}.")
    else:
        parts.append(f"Likeliest cause: {fault(row['likely_fault'])}, {chance(row['p_fault'])}{seen}.")
        if row["runner_up"] not in {None, "no_fault"}:
            parts.append(f"Most easily mistaken for {fault(row['runner_up'])}.")
    if row["flood_back"]:
        parts.append("Superheat near or under 0: liquid may reach the compressor, whatever the charge is.")
    low, high = row["charge_level_low_pct"], row["charge_level_high_pct"]
    if low is not None and high is not None:
        parts.append(f"Charge held, roughly: {number(low)} to {number(high)} % of the plate's; no amount to weigh in.")
    if row["capacity_btuh"] is not None:
        parts.append(_at_the_coil(row))
    return tuple(parts)


def _at_the_coil(row: Row) -> str:
    measured = row["airflow_cfm"] is not None
    cfm = row["airflow_cfm"] if measured else row["table_airflow_cfm"]
    by = "measured" if measured else "by your fan table at the static pressure read"
    share = f", {number(100 * row['sensible_share'])} % of it sensible" if row["sensible_share"] is not None else ""
    return (
        f"Taken from the air: about {number(round(row['capacity_btuh'], -2))} Btu/h{share}, at {number(cfm)} cfm {by}."
    )


def _airflow(row: Row) -> str:
    if row["charge_verdict"] == "airflow_first" and row["airflow"] == "shown":
        return f"{words(row['airflow_because'])} in order, yet the readings together fit too little airflow as well"
    said = AIRFLOW.get(row["airflow"] or "", "nothing shows the airflow")
    return f"{said} ({words(row['airflow_because'])})" if row["airflow_because"] else said


def _sign(row: Row, answered: Row) -> Sign:
    off, scatter, says = row["off_f"], row["off_sd_f"], row["table_says"]
    read = row["reading"] in READ and answered[READ[row["reading"]]] is not None
    return Sign(
        reading=READINGS[row["reading"]],
        off=signed(off) if off is not None else "no target" if read else "not read",
        scatter="–" if scatter is None else f"±{number(scatter, 1)}",
        table_says=says or "–",
        fits=_fits(off, scatter, says),
    )


def _fits(off: float | None, scatter: float | None, says: str | None) -> str:
    if off is None or scatter is None or not says:
        return "–"
    moved = "stays" if abs(off) < scatter else "rises" if off > 0 else "falls"
    if moved in says.split(" or "):
        return "fits"
    return "too small to tell" if moved == "stays" else "speaks against"


def _missing(charge: Sequence[Row]) -> str | None:
    """Return what kept the newest visit from being judged; where none ever was, the head of the section says so."""
    newest = charge[-1] if charge else None
    if newest is None or newest["charge_verdict"] != "not_testable":
        return None
    if all(row["charge_verdict"] in {None, "not_testable"} for row in charge):
        return None
    why = reason_text(newest["not_testable_because"] or "the reason was not said")
    return f"The newest visit, {day(newest['visit_date'])}, could not be judged: {why}."


def _trend(row: Row | None, ledger: Sequence[Row]) -> tuple[str, ...]:
    if row is None or row["p_leaking"] is None:
        return ("Whether it is losing charge cannot be said: no testable reading, top-up or leak search is on file.",)
    parts = [f"Chance that it is losing charge: {chance(row['p_leaking'])}.", f"{because(row['because'])}."]
    if row["charge_loss_suspected"]:
        parts.append(f"Loss: {rate(row)}.")
    if row["refrigerant_added_oz_12_months"]:
        parts.append(f"Added in the last twelve months: {number(row['refrigerant_added_oz_12_months'], 1)} oz.")
    rule = next((entry["federal_threshold"] for entry in ledger if entry["federal_threshold"]), None)
    if rule:
        parts.append(f"{sentence_start(rule)}.")
    return tuple(parts)


def _shown(row: Row) -> Row:
    return {
        **row,
        "label": sentence_start(finding(row["finding"])),
        "shown": reason_text(row["evidence"] or ""),
        "said": decision(row),
        "age": age(row["days_open"]),
        "proof": {True: "shown by a later reading", False: "no later reading shows it"}.get(row["verified"], "–"),
    }
