"""Days to an answer and money by maker, counted by hand from a few claims and the imports that told of them."""

from __future__ import annotations

import datetime as dt

import pytest

from tests.reports.fleet import AS_OF, Fleet


def claim(fleet: Fleet, n: int, state: str, claimed_on: dt.date | None, amount: float, **more: object) -> None:
    fleet.add(
        "core.warranty_claims",
        claim_id=f"U{n}|V{n}|contactor|1",
        unit_id=f"U{n}",
        part="contactor",
        visit_id=f"V{n}",
        row_n=1,
        **{
            "visit_date": dt.date(2025, 8, 10),
            "covered_until": dt.date(2026, 8, 10),
            "state": state,
            "amount": amount,
            "claim_to": "Norvane",
            "claimed_on": claimed_on,
        }
        | more,
    )


@pytest.fixture(scope="module")
def fleet() -> Fleet:
    """As of 14 March 2026. Imports on 1 September and 1 October 2025 and 1 February 2026."""
    fleet = Fleet()
    fleet.add("core.runs", run_id=1, started_at=dt.datetime(2026, 3, 14), as_of=AS_OF)
    fleet.add("core.unit_forecast", unit_id="U1", as_of=AS_OF)
    for n, on in enumerate((dt.datetime(2025, 9, 1, 8), dt.datetime(2025, 10, 1, 8), dt.datetime(2026, 2, 1, 8)), 1):
        counts = dict.fromkeys(
            ("rows_read", "rows_stored", "rows_unchanged", "rows_rejected", "rows_skipped", "values_rejected"), 0
        )
        fleet.add("imports", import_id=n, file=f"parts_{n}.csv", imported_at=on, **counts)
    claim(fleet, 1, "credited", dt.date(2025, 8, 20), 40.0)  # seen credited on 1 October: 42 days at most
    claim(fleet, 2, "credited", dt.date(2025, 8, 22), 20.0)  # told without its unit, seen on 1 February: 163
    claim(fleet, 3, "credited", dt.date(2025, 8, 12), 10.0)  # credited when first imported: nothing is known
    claim(fleet, 4, "denied", dt.date(2025, 9, 1), 30.0)
    claim(fleet, 5, "filed", dt.date(2025, 12, 14), 25.0)  # 17 + 31 + 28 + 14 = 90 days: not over 90 yet
    claim(fleet, 6, "filed", dt.date(2025, 9, 14), 15.0, visit_date=dt.date(2025, 9, 14))  # 181
    claim(fleet, 7, "filed", None, 5.0)  # no date of filing: no days
    claim(fleet, 8, "lapsed", None, 60.0)
    claim(fleet, 9, "lapsed", None, 70.0, covered_until=dt.date(2025, 8, 9))  # was not covered: never the shop's
    changed = {"table_name": "parts", "field": "claim_status", "old_value": "filed"}
    fleet.add("corrections", key="V1 / U1 / contactor / 1", new_value="credited", import_id=2, **changed)
    fleet.add("corrections", key="V2 / contactor / 1", new_value="credited", import_id=3, **changed)
    fleet.add("corrections", key="V4 / U4 / contactor / 1", new_value="denied", import_id=2, **changed)
    fleet.add("corrections", key="V6 / U6 / contactor / 1", new_value="credited", import_id=2, **changed)  # taken back
    return fleet


def test_days_are_known_only_where_the_answer_was_seen_to_come(fleet: Fleet) -> None:
    rows = fleet.con.sql(
        "select unit_id, days_at_most, days_waiting from warranty_credit_days order by unit_id"
    ).fetchall()
    assert rows == [
        ("U1", 42, None),
        ("U2", 163, None),
        ("U3", None, None),
        ("U4", 30, None),
        ("U5", None, 90),
        ("U6", None, 181),
    ]


def test_a_maker_has_its_days_with_what_they_were_counted_from(fleet: Fleet) -> None:
    [row] = fleet.query("warranty_by_maker", {}).to_dicts()
    assert (row["credits_seen"], row["days_to_credit"]) == (2, (42 + 163) / 2)
    assert (row["waiting_claims"], row["days_waiting"], row["longest_waiting"]) == (2, (90 + 181) / 2, 181)
    assert (row["long_ago_answered"], row["filed_long_ago"]) == (4, 5)
    assert (row["recovered"], row["waiting"], row["lost_denied"], row["lost_lapsed"]) == (70.0, 45.0, 30.0, 60.0)


def test_months_sum_to_the_makers(fleet: Fleet) -> None:
    months = fleet.query("warranty_by_month", {})
    assert months["month"].to_list() == [dt.date(2025, 9, 1), dt.date(2025, 8, 1)]
    assert months["credits_seen"].to_list() == [0, 2]
    assert months["longest_waiting"].to_list() == [181, 90]
    assert months["waiting"].to_list() == [15.0, 30.0]
    assert (months["recovered"].sum(), months["lost_denied"].sum(), months["lost_lapsed"].sum()) == (70.0, 30.0, 60.0)


def test_a_maker_who_is_not_known_is_not_taken_for_a_month() -> None:
    """Both groupings come from one view: a null maker keeps its own row, with its own days."""
    fleet = Fleet()
    fleet.add("core.runs", run_id=1, started_at=dt.datetime(2026, 3, 14), as_of=AS_OF)
    fleet.add("core.unit_forecast", unit_id="U1", as_of=AS_OF)
    claim(fleet, 1, "filed", dt.date(2025, 12, 14), 25.0, claim_to=None)
    claim(fleet, 2, "filed", dt.date(2026, 3, 4), 15.0)
    makers = fleet.query("warranty_by_maker", {}).select("claim_to", "filed", "waiting", "days_waiting").rows()
    assert makers == [(None, 1, 25.0, 90.0), ("Norvane", 1, 15.0, 10.0)]
    months = fleet.query("warranty_by_month", {}).select("month", "filed", "waiting", "longest_waiting").rows()
    assert months == [(dt.date(2025, 8, 1), 2, 40.0, 90)]


def test_denials_have_their_denominator(fleet: Fleet) -> None:
    [row] = fleet.query("warranty_denials", {}).to_dicts()
    assert (row["denied"], row["settled"], row["amount"]) == (1, 4, 30.0)
