"""A store whose register contradicts itself: each contradiction has its place, and no figure lacks what it is of."""

from __future__ import annotations

import datetime as dt

import pytest

from pipeline.config import Settings
from pipeline.derive_rates import rates_and_lives, read_fleet, write_tables, write_warranty
from tests.reports.fleet import AS_OF, Fleet, small_fleet


@pytest.fixture(scope="module")
def fleet() -> Fleet:
    """A sound fleet, and among it each of the contradictions of the register."""
    fleet = small_fleet(20, hostile=False)
    fleet.con.execute("update units set installed_on = date '2012-06-01'")
    place = {"source_file": "units.csv", "site_id": "S1"}
    bad = {
        "late": {"installed_on": dt.date(2024, 1, 1)},  # visited since 2020
        "gone": {"retired_on": dt.date(2021, 1, 1), "installed_on": dt.date(2010, 1, 1)},
        "gone-before": {"retired_on": dt.date(2019, 1, 1)},  # before its first visit: no exposure at all
        "twin-a": {"serial": " ab12 ", "make": "Norvane"},
        "twin-b": {"serial": "AB12", "make": "norvane"},
    }
    for n, (unit_id, register) in enumerate(bad.items()):
        fleet.add("units", unit_id=unit_id, source_line=101 + n, **place, **register)
        for year in (2020, 2025):
            fleet.add(
                "visits",
                visit_id=f"{unit_id}-{year}",
                unit_id=unit_id,
                visit_date=dt.date(year, 6, 1),
                visit_type="no_cooling",
                source_file=f"visits_{year}.csv",
                source_line=201 + n,
            )
    fleet.add("parts", visit_id="late-2025", unit_id="late", part="contactor", claim_amount=40.0, source_line=301)
    fleet.add("parts", visit_id="nowhere", unit_id="nobody", part="contactor", cost=20.0, source_line=302)
    known = read_fleet(fleet.con, AS_OF, Settings())
    write_tables(fleet.con, rates_and_lives(known, Settings().season, None))
    write_warranty(fleet.con, known, Settings())
    return fleet


def test_each_contradiction_is_a_finding_with_its_place(fleet: Fleet) -> None:
    found = fleet.con.sql(
        "select fault, unit_id, source_file, source_line from register_faults order by fault, unit_id"
    ).fetchall()
    assert found == [
        ("claim_without_status", "late", "parts.csv", 301),
        ("install_after_first_visit", "late", "units.csv", 101),
        ("part_of_unknown_unit", "nobody", "parts.csv", 302),
        ("retired_then_visited", "gone", "visits_2025.csv", 202),
        ("retired_then_visited", "gone-before", "visits_2020.csv", 203),
        ("serial_used_twice", "twin-a", "units.csv", 104),
        ("serial_used_twice", "twin-b", "units.csv", 105),
    ]


def test_no_exposure_is_negative_and_nothing_after_it_counts(fleet: Fleet) -> None:
    assert fleet.con.sql("select min(unit_years) from rate_rows").fetchall() == [(0.0,)]
    years = dict(
        fleet.con.sql(
            "select unit_id, unit_years from rate_rows where group_by = 'make' and unit_id in ('gone', 'gone-before')"
        ).fetchall()
    )
    assert years == {"gone": pytest.approx(214 / 365.25), "gone-before": 0.0}  # 1 June 2020 to 1 January 2021
    counted = fleet.con.sql("select unit_id from failures_counted where unit_id like 'gone%'").fetchall()
    assert counted == []


RATES = {
    "failure_rates": ("unit_years", ("rate_per_100_unit_years", "rate_low", "rate_high", "shrunk_rate")),
    "season_trend": ("unit_years", ("rate_per_100_unit_years", "rate_low", "rate_high")),
    "callbacks": ("jobs", ("per_100_jobs", "low", "high")),
    "repairs_gathered": ("at_risk", ("per_unit",)),
    "survival_curves": ("at_risk", ("survival_low", "survival_high")),
}


@pytest.mark.parametrize("view", RATES)
def test_no_rate_stands_without_its_denominator(fleet: Fleet, view: str) -> None:
    of, rates = RATES[view]
    [(rows,)] = fleet.con.sql(f"select count(*) from {view}").fetchall()
    assert rows > 0
    for rate in rates:
        bare = fleet.con.sql(
            f"select count(*) from {view} where {rate} is not null and ({of} is null or {of} <= 0 or isnan({rate}))"
        ).fetchall()
        assert bare == [(0,)], rate


def test_what_contradicts_itself_is_not_claimed_and_not_lost(fleet: Fleet) -> None:
    """A unit met before its install date has no age; a claim amount without a state is listed and not called filed."""
    assert fleet.con.sql("select count(*) from core.lives_ended where unit_id = 'late'").fetchall() == [(0,)]
    [(state, note)] = fleet.con.sql(
        "select state, note from core.warranty_claims where unit_id = 'late' and part = 'contactor'"
    ).fetchall()
    assert state is None
    assert "see whether it was filed" in note
    assert fleet.con.sql("select count(*) from core.warranty_claims where unit_id = 'nobody'").fetchall() == [(0,)]
