"""What the charge views say, in the words of the trade: verdicts, faults, findings, decisions, rates and readings."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from reports.format import chance, cut, day, field_label, kept_together, number, reason_text, sentence_start, words

Row = Mapping[str, Any]

VERDICTS: Mapping[str, str] = {
    "low": "low charge or a restriction",
    "within": "charge within its band",
    "high": "charge or metering beyond the upper edge",
    "airflow_first": "airflow first, then the charge",
    "not_testable": "not testable",
}
"""Never "add" or "remove": a verdict is a deviation, not an order."""

FAULTS: Mapping[str, str] = {
    "undercharge": "low charge",
    "overcharge": "too much charge",
    "liquid_line_restriction": "a restriction in the liquid line or metering device",
    "condenser_fouling": "a dirty or blocked condenser",
    "low_indoor_airflow": "too little indoor airflow",
    "compressor_valve_leakage": "leaking compressor valves",
    "non_condensables": "air or another gas in the circuit",
    "no_fault": "no fault",
    "cannot_tell": "not to be told from these readings",
}

FIRST_STEPS: Mapping[str, str] = {
    "undercharge": "Search for the leak first; nothing goes in on a superheat number alone.",
    "overcharge": "Show the airflow first, then compare with the maker's charging data before any is recovered.",
    "liquid_line_restriction": "Feel and measure for a temperature drop along the liquid line and across the drier "
    "before the charge is touched.",
    "condenser_fouling": "Clean the condenser with the power locked out, then take every reading again.",
    "low_indoor_airflow": "Filter, blower, coil face and static pressure first; then take every reading again.",
    "compressor_valve_leakage": "Compare amps and both pressures with the maker's data before it is condemned.",
    "non_condensables": "With the unit off and settled, compare the standing pressure with the outdoor temperature.",
    "cannot_tell": "Take the reading named below before anything is decided.",
}
"""One first step per fault: common practice, no source; the maker's data comes first."""

FINDINGS: Mapping[str, str] = {
    "weak_hermetic_section": "weak hermetic section",
    "weak_fan_section": "weak fan section",
    "weak_blower_section": "weak blower capacitor",
    "charge_low": "low charge or a restriction",
    "charge_high": "charge beyond the upper edge",
    "flood_back": "liquid near the compressor (superheat near 0)",
    "airflow_doubtful": "airflow in doubt",
    "leak_found": "leak found or suspected",
    "topped_up_without_repair": "topped up, no repair",
}

SECTION_OF: Mapping[str, str] = {
    "weak_hermetic_section": "hermetic section",
    "weak_fan_section": "fan section",
    "weak_blower_section": "blower capacitor",
}
"""How the evidence of a weak section begins, which the name of the finding has said already."""

DECISIONS: Mapping[str, str] = {
    "approved": "approved, not done yet",
    "declined": "declined by the customer",
    "later": "customer said later",
    "waiting_for_part": "waiting for the part",
}

SEARCH: Mapping[str, str] = {
    "yes": "leak found",
    "no": "searched, none found",
    "suspected": "leak suspected",
}
"""What a leak search came to."""

READINGS: Mapping[str, str] = {
    "suction_saturation_off_f": "evaporating temperature",
    "superheat_off_f": "superheat",
    "liquid_saturation_off_f": "condensing temperature",
    "subcooling_off_f": "subcooling",
    "discharge_line_off_f": "discharge line",
    "condenser_rise_off_f": "condenser air rise",
    "temperature_split_off_f": "temperature split",
}

KINDS: Mapping[str, str] = {
    "install": "install",
    "recharge": "recharge after opening the circuit",
    "top_up": "top-up",
    "trim": "trim",
    "recovery": "recovery",
}

SHOWS_NOTHING_P = 0.05
"""Under these odds of a leak nothing on file shows one, and a rate would only say what is usual of leaks."""
_FIELD = re.compile(r"[a-z]+(?:_[a-z]+)+")


def fault(word: str | None) -> str:
    """Return how a page names a fault; null is not judged."""
    return "not judged" if word is None else FAULTS.get(word, words(word))


def finding(word: str) -> str:
    """Return how a page names a kind of finding."""
    return FINDINGS.get(word, words(word))


def found(word: str, evidence: str | None) -> tuple[str, str]:
    """Return what was found and what more its evidence tells; the second is empty where it would only repeat the first.

    Examples
    --------
    >>> found("pitted_contactor", "pitted contactor seen")
    ('Pitted contactor', '')
    >>> found("leak_found", "leak suspected")
    ('Leak suspected', '')
    >>> found("weak_fan_section", "fan section 4.4 of 5.0 uF, -12.0 %")
    ('Weak fan section', '4.4 of 5.0\xa0µF, −12.0\xa0%')
    """
    name, told = finding(word), reason_text(evidence or "")
    if word == "leak_found" and told in {"leak found", "leak suspected"}:
        return sentence_start(told), ""
    section = SECTION_OF.get(word)
    more = told.removeprefix(f"{section} ") if section else told
    return sentence_start(name), "" if more.removesuffix(" seen") == name else kept_together(more)


def decided(word: str | None) -> str:
    """Return what the customer decided."""
    return "no decision on file" if word is None else DECISIONS.get(word, words(word))


def decision(row: Row) -> str:
    """Return the customer's decision with its day; who was never asked is said so."""
    said = decided(row["decision"])
    return f"{said}, {day(row['decided_on'])}" if row["decision"] and row.get("decided_on") else said


def next_reading(text: str | None) -> str | None:
    """Return what to read next, columns under the names that people use.

    Examples
    --------
    >>> next_reading("static_in_wc and airflow_cfm")
    'external static pressure and measured airflow'
    """
    return None if text is None else cut(_FIELD.sub(lambda found: field_label(found.group()), text))


def outside(row: Row) -> str | None:
    """Return how probable it is that the deviation is outside its band, on the side of the verdict."""
    low, high = row["p_charge_low"], row["p_charge_high"]
    verdict = row["charge_verdict"]
    if low is None or high is None or verdict not in {"low", "within", "high", "airflow_first"}:
        return None
    if verdict == "within":
        return f"outside it after all: {chance(low + high)}"
    return f"outside its band: {chance(low if verdict == 'low' else high)}"


def rate(row: Row) -> str:
    """Return a leak rate with its interval in words."""
    if row["leak_rate_pct_per_year"] is None:
        return "no rate can be given"
    low, high = row["leak_rate_low_pct"], row["leak_rate_high_pct"]
    middle = _pct(row["leak_rate_pct_per_year"])
    if row["p_leaking"] < SHOWS_NOTHING_P:
        return "none that readings or top-ups show"
    least = "nothing" if low < 0.5 else _pct(low)
    return f"about {middle}\u00a0% of its charge a year, between {least} and {_pct(high)}\u00a0%"


def rate_briefly(row: Row) -> tuple[str, str]:
    """Return a leak rate and its interval, each short enough for a table."""
    low, high = row["leak_rate_low_pct"], row["leak_rate_high_pct"]
    least = "nothing" if low < 0.5 else _pct(low)
    return f"about {_pct(row['leak_rate_pct_per_year'])}\u00a0% a year", f"{least} to {_pct(high)}\u00a0%"


def because(text: str | None) -> str:
    """Return what speaks for a leak as people write it."""
    return sentence_start(reason_text(text)) if text else "nothing on file"


def age(days: int) -> str:
    """Return how long something is open: days, then months, then years.

    Examples
    --------
    >>> age(12), age(320), age(2190)
    ('12 days', '11 months', '6 years')
    """
    if days < 60:
        return f"{number(days)} day{'' if days == 1 else 's'}"
    if days < 730:
        return f"{number(days / 30.44)} months"
    return f"{number(days / 365.25, 1).removesuffix('.0')} years"


def _pct(value: float) -> str:
    return number(value) if value >= 2 else number(value, 1)
