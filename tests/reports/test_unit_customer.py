"""The customer's page in plain words, and the records behind each reason of the technician's page."""

from __future__ import annotations

import datetime as dt
from typing import Any

from reports.advice import advice, split_reasons
from reports.unit_customer import handout
from reports.unit_evidence import backed
from tests.reports.fleet import AS_OF, SEASON

UNIT: dict[str, Any] = {
    "as_of": AS_OF,
    "season_end": SEASON[1],
    "p_failure": 0.21,
    "p_low": 0.1,
    "p_high": 0.34,
    "equipment": "split_ac",
    "make": "Norvane",
    "model": None,
    "serial": "0042",
    "installed_on": dt.date(2014, 6, 2),
    "refrigerant": None,
    "source_file": "units.csv",
    "source_line": 17,
}


def reading(section: str, date: dt.date, line: int, **changes: Any) -> dict[str, Any]:
    return {
        "section": section,
        "visit_date": date,
        "measured_uf": 34.6,
        "rated_uf": 40.0,
        "tolerance_pct": 6.0,
        "drift_pct": -13.5,
        "out_of_tolerance": True,
        "suspect": None,
        "at_replacement": False,
        "source_file": "visits.csv",
        "source_line": line,
    } | changes


def visit(date: dt.date, line: int, kind: str, cause: str | None = None) -> dict[str, Any]:
    return {"visit_date": date, "visit_type": kind, "cause": cause, "source_file": "visits.csv", "source_line": line}


def rows(**given: list[dict[str, Any]]) -> dict[str, list[dict[str, Any]]]:
    names = ("unit_capacitor_readings", "unit_charge_readings", "unit_findings", "unit_visits", "unit_warranty")
    return {name: given.get(name.removeprefix("unit_"), []) for name in names}


SPRING = dt.date(2025, 4, 10)


def test_a_reading_is_told_against_its_label() -> None:
    """34.6 of 40 is 0.865: 13.5 % under, said as whole percent; 14 by Python's rounding half to even."""
    told = handout(UNIT, (), rows(capacitor_readings=[reading("herm", SPRING, 9)]))
    assert told.found == (
        "Capacitor, compressor side: 34.6 of 40 µF on 10 Apr 2025, 14 % under its label; "
        "outside what the label allows (±6 %).",
    )
    assert [component for component, _ in told.proposals] == ["Run capacitor"]


def test_a_reading_just_beyond_its_label_is_not_told_as_on_it() -> None:
    """7.1 of 7.5 is 5.3 % under: as a whole percent it would be the 5 % that the label allows."""
    edge = reading("fan", SPRING, 9, measured_uf=7.1, rated_uf=7.5, drift_pct=-5.3333, tolerance_pct=5.0)
    [told] = handout(UNIT, (), rows(capacitor_readings=[edge])).found
    assert "7.1 of 7.5 µF on 10 Apr 2025, 5.3 % under its label; outside what the label allows (±5 %)" in told


def test_neither_a_suspect_reading_nor_the_part_taken_out_is_told() -> None:
    gone = [reading("herm", SPRING, 9, suspect="copied_rating"), reading("herm", SPRING, 9, at_replacement=True)]
    assert handout(UNIT, (), rows(capacitor_readings=gone)).found == ()


def test_nothing_known_is_said_so() -> None:
    told = handout(UNIT | {"p_failure": None}, (), rows())
    assert (told.found, told.outlook, told.proposals, told.warranty, told.visits) == ((), None, (), (), ())


def test_the_chance_is_a_count_and_called_an_estimate() -> None:
    outlook = handout(UNIT, (), rows()).outlook
    assert outlook is not None
    assert "by 30 Sep 2026, if nothing is done, at about 2 in 10 (1 to 3 in 10)." in outlook
    assert "not a diagnosis" in outlook


def test_a_warranty_is_told_once_and_promises_nothing() -> None:
    claim = {"part": "run_capacitor", "state": "test_before_lapse", "deadline": dt.date(2026, 6, 20)}
    told = handout(UNIT, (), rows(warranty=[claim, claim, claim | {"state": "denied"}])).warranty
    assert len(told) == 1
    assert "runs to 20 Jun 2026" in told[0]
    assert "The maker decides" in told[0]


def test_every_cause_has_plain_words_without_the_trade() -> None:
    for cause, entry in advice().items():
        assert len(entry.plain) > 40, cause
        assert not [word for word in ("µF", "psig", "superheat", "subcooling", "drift") if word in entry.plain], cause


def places(reasons: str, **given: list[dict[str, Any]]) -> list[list[tuple[str, int]]]:
    return [
        [(source.file, source.line) for source in item.sources]
        for item in backed(split_reasons(reasons), UNIT, rows(**given))
    ]


def test_each_reason_leads_to_its_own_records() -> None:
    reasons = (
        "run_capacitor: hermetic section read 34.6 of 40 uF (-14 %) on 2025-04-10, expected near -16 % by 2026-09-30; "
        "contactor: pitted contactor seen on 2024-05-02; "
        "refrigerant_leak: superheat 11 degF over target on 2025-04-10; "
        "other: 12 years old, 2 other no-cooling calls in 3 years"
    )
    found = places(
        reasons,
        capacitor_readings=[reading("fan", SPRING, 9), reading("herm", SPRING, 9)],
        charge_readings=[{"visit_date": SPRING, "source_file": "visits.csv", "source_line": 9}],
        visits=[
            visit(dt.date(2025, 7, 1), 30, "no_cooling", "contactor"),
            visit(dt.date(2024, 5, 2), 21, "maintenance"),
            visit(dt.date(2023, 3, 20), 20, "no_cooling"),  # 1,090 days before as-of, within 3 × 365.25
            visit(dt.date(2023, 3, 1), 19, "no_cooling"),  # 1,109 days, outside
        ],
    )
    assert found[0] == [("visits.csv", 9)]
    assert found[1] == [("visits.csv", 21)]
    assert found[2] == [("visits.csv", 9)]
    assert found[3] == [("visits.csv", 30), ("visits.csv", 20), ("units.csv", 17)]


def test_a_reason_without_a_record_stands_alone() -> None:
    assert places("other: 17 years old, not seen for 20 months") == [[("units.csv", 17)]]
    assert places("contactor: pitted contacts noted on 2025-04-02") == [[]]


def test_a_compressor_and_a_leak_are_told_by_the_warranty_they_would_fall_under() -> None:
    claim = {"state": "test_before_lapse", "deadline": dt.date(2026, 7, 1)}
    compressor, leak = handout(
        UNIT, (), rows(warranty=[claim | {"part": "compressor"}, claim | {"part": "refrigerant_leak"}])
    ).warranty
    assert compressor.startswith("Compressor: by our records the maker's compressor warranty runs to 1 Jul 2026;")
    assert leak.startswith("A leak we suspect: by our records the maker's parts warranty runs to 1 Jul 2026;")
