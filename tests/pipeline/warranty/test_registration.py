"""Own installs that are not registered yet: whose install it is, until when, and when a line is of no more use."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from pipeline.config import MakeTerms, Warranty
from pipeline.warranty.registration import to_register
from pipeline.warranty.terms import unit_terms
from tests.builders import make_frame

AS_OF = dt.date(2026, 3, 14)
INSTALLED = dt.date(2026, 2, 1)


def listed(
    unit: dict[str, Any], visits: list[dict[str, Any]] | None = None, settings: Warranty | None = None
) -> list[tuple[dt.date, dt.date]]:
    rules = settings or Warranty()
    units = make_frame("units", [{"unit_id": "U", "make": "Norvane", "installed_on": INSTALLED, **unit}])
    seen = make_frame("visits", [{"unit_id": "U", "visit_id": f"V{n}", **row} for n, row in enumerate(visits or [])])
    terms = unit_terms(units, make_frame("sites", []), seen, rules)
    return to_register(units, seen, terms, rules, AS_OF).select("installed_on", "register_by").rows()


OWN = {"installed_by": " Own crew "}


def test_an_own_install_is_listed_with_the_end_of_its_window():
    """60 days from 1 February 2026, which has 28 days: 27 from the 1st to the 28th, 31 in March, 2 more: 2 April."""
    assert listed(OWN) == [(INSTALLED, dt.date(2026, 4, 2))]


def test_a_make_may_have_a_window_of_its_own():
    settings = Warranty(makes={"NORVANE ": MakeTerms(registration_days=90)})
    assert listed(OWN, settings=settings) == [(INSTALLED, dt.date(2026, 5, 2))]


@pytest.mark.parametrize(
    "changes",
    [
        {"registered": "yes"},
        {"registered_on": dt.date(2026, 2, 20)},
        {"installed_by": "builder"},
        {"installed_by": None},
        {"installed_on": None},
        {"retired_on": dt.date(2026, 3, 1)},
        {"installed_on": dt.date(2025, 7, 16)},  # its window closed on 14 September 2025, 181 days ago
    ],
)
def test_registered_foreign_gone_or_long_missed_is_not_listed(changes: dict[str, Any]) -> None:
    assert listed({**OWN, **changes}) == []


def test_a_window_missed_180_days_ago_is_still_listed():
    """14 March 2026 less 180 days is 15 September 2025; less 60 more, 17 July."""
    assert listed({**OWN, "installed_on": dt.date(2025, 7, 17)}) == [(dt.date(2025, 7, 17), dt.date(2025, 9, 15))]


@pytest.mark.parametrize(("days", "own"), [(45, True), (46, False), (-45, True), (-46, False)])
def test_an_install_visit_near_the_install_date_makes_it_an_own_install(days: int, own: bool) -> None:
    visit = {"visit_date": INSTALLED + dt.timedelta(days=days), "visit_type": "install"}
    assert bool(listed({"installed_by": None}, [visit])) == own


def test_the_nearest_of_several_install_visits_counts():
    visits = [
        {"visit_date": dt.date(2019, 5, 1), "visit_type": "install"},
        {"visit_date": dt.date(2026, 2, 3), "visit_type": "install"},
    ]
    assert listed({"installed_by": None}, visits) == [(INSTALLED, dt.date(2026, 4, 2))]


def test_a_unit_met_at_its_install_needs_no_install_date():
    visits = [{"visit_date": dt.date(2026, 2, 3), "visit_type": "install"}]
    assert listed({"installed_on": None}, visits) == [(dt.date(2026, 2, 3), dt.date(2026, 4, 4))]


def test_no_units_no_list():
    empty = make_frame("units", [])
    terms = unit_terms(empty, make_frame("sites", []), make_frame("visits", []), Warranty())
    assert to_register(empty, make_frame("visits", []), terms, Warranty(), AS_OF).is_empty()
