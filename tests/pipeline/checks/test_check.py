"""What is stored, what is refused and why, and that no row is lost on the way."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.checks.check import Account, Checked, check
from pipeline.findings import FINDING_SCHEMA
from tests.pipeline.checks.parsed_rows import TODAY, Rows, parsed, visit


def run(rows: Rows, as_of: dt.date | None = None) -> Checked:
    """Check with a fixed today."""
    return check(rows, as_of=as_of, today=TODAY)


def known(rows: Rows, line: int, field: str, rule: str) -> Rows:
    """Return the rows with a finding of parse on one cell, as parse leaves it: emptied and named."""
    finding = pl.DataFrame(
        [["jobs.csv", line, "value", field, field, "abc", rule, "not readable", "Correct it."]],
        schema=FINDING_SCHEMA,
        orient="row",
    )
    here = pl.col("source_line") == line
    frame = rows.frame.with_columns(
        pl.when(~here).then(pl.col(field)).alias(field),
        pl.when(here).then(pl.lit([field])).otherwise("rejected_fields").alias("rejected_fields"),
    )
    return replace(rows, frame=frame, findings=pl.concat([rows.findings, finding]))


def test_clean_rows_pass_unchanged() -> None:
    """Rows without a fault come out as they went in."""
    rows = parsed([visit(1, return_db_f=75.0, return_wb_f=62.0), visit(2)])
    got = run(rows)
    assert got.frame.equals(rows.frame)
    assert got.findings.is_empty()
    assert got.rows_rejected == 0


def test_wet_bulb_three_over_empties_both() -> None:
    """73 over 70 is 3 degF: both values go, the row and its other values stay."""
    got = run(parsed([visit(1, return_db_f=70.0, return_wb_f=73.0, outdoor_db_f=95.0)]))
    row = got.frame.row(0, named=True)
    assert (row["return_db_f"], row["return_wb_f"], row["outdoor_db_f"]) == (None, None, 95.0)
    assert sorted(row["rejected_fields"]) == ["return_db_f", "return_wb_f"]
    assert got.findings.select("scope", "field", "value").rows() == [
        ("value", "return_wb_f", "73"),
        ("value", "return_db_f", "70"),
    ]
    assert got.suspects.is_empty()
    assert got.findings["message"][1] == (
        'column "return air": return wet bulb 73 degF is more than 2 degF over the dry bulb 70 degF; '
        "both values were left empty"
    )


@pytest.mark.parametrize("place", ["return", "supply"])
def test_wet_bulb_up_to_two_over_is_suspect(place: str) -> None:
    """72 over 70 is exactly 2 degF: kept and marked."""
    got = run(parsed([visit(1, **{f"{place}_db_f": 70.0, f"{place}_wb_f": 72.0})]))
    assert got.findings.is_empty()
    assert got.frame.select(f"{place}_db_f", f"{place}_wb_f").row(0) == (70.0, 72.0)
    assert set(got.suspects["field"]) == {f"{place}_db_f", f"{place}_wb_f"}


def test_a_decimal_on_the_limit_is_inside() -> None:
    """64.4 - 62.4 is 2 on paper and a little more in binary."""
    assert 64.4 - 62.4 > 2.0
    assert run(parsed([visit(1, return_db_f=62.4, return_wb_f=64.4)])).findings.is_empty()


def test_visit_after_today_is_refused() -> None:
    """The day after the later of as-of and today is refused, the day itself is not."""
    rows = parsed([visit(1, visit_date=dt.date(2025, 3, 2)), visit(2, visit_date=dt.date(2025, 3, 1))])
    got = run(rows, as_of=dt.date(2024, 1, 1))
    assert got.frame["visit_id"].to_list() == ["V2"]
    assert got.findings.select("source_line", "scope", "field", "value", "rule").rows() == [
        (2, "row", "visit_date", "2025-03-02", "visit-date-too-late")
    ]


def test_as_of_later_than_today_allows_later_visits() -> None:
    """The later of the two counts."""
    rows = parsed([visit(1, visit_date=dt.date(2026, 1, 1)), visit(2, visit_date=dt.date(2026, 1, 2))])
    assert run(rows, as_of=dt.date(2026, 1, 1)).frame["visit_id"].to_list() == ["V1"]


@pytest.mark.parametrize("blank", [None, "", "  "])
def test_missing_required_field_refuses_the_row(blank: str | None) -> None:
    """Without a unit the row cannot be used."""
    got = run(parsed([visit(1, unit_id=blank), visit(2)]))
    assert got.frame["visit_id"].to_list() == ["V2"]
    assert got.findings.select("source_line", "scope", "field", "rule").rows() == [
        (2, "row", "unit_id", "required-missing")
    ]


def test_required_column_absent_refuses_every_row() -> None:
    """A file without dates has no visit to store."""
    got = run(parsed([{"visit_id": "V1", "unit_id": "U1"}]))
    assert got.frame.is_empty()
    assert got.rows_rejected == 1


def test_unreadable_required_field_is_told_once() -> None:
    """Parse said why the date is empty; the row is refused for that reason, not for a second one."""
    got = run(known(parsed([visit(1), visit(2)]), 3, "visit_date", "not-a-date"))
    assert got.frame["visit_id"].to_list() == ["V1"]
    assert got.findings.select("source_line", "scope", "rule").rows() == [(3, "row", "not-a-date")]


def test_findings_on_a_refused_row_do_not_count_as_values() -> None:
    """A value is rejected by itself only where its row is stored."""
    rows = known(parsed([visit(1, outdoor_db_f=95.0), visit(2, outdoor_db_f=95.0)]), 2, "outdoor_db_f", "not-a-number")
    frame = rows.frame.with_columns(pl.lit(None, pl.String).alias("unit_id"))
    assert run(replace(rows, frame=frame)).findings["scope"].unique().to_list() == ["row"]
    assert run(rows).findings["scope"].to_list() == ["value"]


def test_exact_repeat_is_stored_once() -> None:
    """The later of two equal rows counts as unchanged."""
    got = run(parsed([visit(1, outdoor_db_f=95.0), visit(2), visit(1, outdoor_db_f=95.0)]))
    assert got.frame["source_line"].to_list() == [2, 3]
    assert got.repeated.rows() == [("jobs.csv", 4)]
    assert got.findings.is_empty()


def test_contradicting_rows_are_all_refused_and_name_each_other() -> None:
    """Of three rows of one key one differs: nobody can say which is right."""
    got = run(parsed([visit(1, outdoor_db_f=95.0), visit(1, outdoor_db_f=95.0), visit(1, outdoor_db_f=59.0), visit(2)]))
    assert got.frame["visit_id"].to_list() == ["V2"]
    assert got.rows_rejected == 3
    assert got.findings.select("source_line", "scope", "field", "value", "rule").rows() == [
        (line, "row", "outdoor_db_f", "V1 / U1", "conflicting-rows") for line in (2, 3, 4)
    ]
    assert "lines 3, 4" in got.findings["message"][0]
    assert "lines 2, 3" in got.findings["message"][2]


def test_conflict_names_the_headers_as_typed_but_no_value() -> None:
    """Two columns differ: both headers are named, the customer is not."""
    rows = parsed([visit(1, notes="dog bites", outdoor_db_f=95.0), visit(1, notes="gate code", outdoor_db_f=90.0)])
    got = run(replace(rows, headers={"notes": "Remarks", "outdoor_db_f": "OAT"}))
    message = got.findings["message"][0]
    says = 'line 3 has the same visit and unit but another "Remarks", "OAT"; none of them was stored'
    assert message == says
    assert got.findings["field"].to_list() == [None, None]


def test_blank_against_value_is_a_contradiction() -> None:
    """A blank cell clears a field, so it says something."""
    assert run(parsed([visit(1, technician="Ito"), visit(1, technician=None)])).rows_rejected == 2


def test_one_ticket_may_cover_two_units() -> None:
    """The key is visit and unit."""
    assert run(parsed([visit(1), visit(1, unit_id="U2")])).frame.height == 2


def test_refused_row_contradicts_nobody() -> None:
    """A row that is refused for its own fault takes no good row with it."""
    got = run(parsed([visit(1), visit(1, visit_date=dt.date(2062, 1, 1))]))
    assert got.frame["source_line"].to_list() == [2]


def test_equal_parts_of_one_visit_are_two_parts() -> None:
    """Two capacitors of one size on one visit are numbered, not merged."""
    row = {"visit_id": "V1", "unit_id": "U1", "part": "run_capacitor"}
    got = run(parsed([row, {**row, "part": "contactor"}, row], "parts"))
    assert got.frame.select("part", "row_n").rows() == [("run_capacitor", 1), ("contactor", 1), ("run_capacitor", 2)]


def test_parts_without_a_unit_column_are_numbered_too() -> None:
    """The unit is part of the key only if given."""
    row = {"visit_id": "V1", "part": "run_capacitor"}
    assert run(parsed([row, row], "parts")).frame["row_n"].to_list() == [1, 2]


def test_corrected_part_keeps_its_number_and_a_late_one_goes_last() -> None:
    """Line 3 was stored as number 2, line 4 was refused then: it becomes number 3, not 1."""
    row = {"visit_id": "V1", "unit_id": "U1", "part": "run_capacitor"}
    stored = pl.DataFrame(
        {
            "visit_id": ["V1"] * 2,
            "unit_id": ["U1"] * 2,
            "part": ["run_capacitor"] * 2,
            "row_n": [1, 2],
            "source_file": ["jobs.csv"] * 2,
            "source_line": [2, 3],
        }
    )
    got = check(parsed([row, row], "parts", first_line=3), as_of=None, today=TODAY, stored_parts=stored)
    assert got.frame.select("source_line", "row_n").rows() == [(3, 2), (4, 3)]


def test_liquid_at_suction_while_cooling_is_suspect_only_then() -> None:
    """Equal pressures are what a system at rest shows."""
    got = run(
        parsed(
            [
                visit(1, mode="cooling", suction_psig=150.0, liquid_psig=150.0),
                visit(2, mode="off", suction_psig=150.0, liquid_psig=150.0),
                visit(3, mode=None, suction_psig=150.0, liquid_psig=150.0),
            ]
        )
    )
    assert set(got.suspects["visit_id"]) == {"V1"}
    assert got.frame.height == 3


def test_no_rows_at_all() -> None:
    """An empty file passes through."""
    rows = parsed([visit(1)])
    got = run(replace(rows, frame=rows.frame.clear()))
    assert got.frame.is_empty()
    assert got.rows_rejected == 0


def test_account_must_balance() -> None:
    """Ten records, nine accounted for, is a fault."""
    Account(10, 5, 2, 2, 1, 7).assert_balanced()
    with pytest.raises(AssertionError, match="9 records accounted for, 10 read"):
        Account(10, 5, 2, 1, 1).assert_balanced()
    with pytest.raises(AssertionError):
        Account(10, 11, 0, -1, 0).assert_balanced()


SOMETIMES = st.one_of(st.none(), st.sampled_from([60.0, 70.0, 71.5, 72.0, 75.0]))
VISITS = st.lists(
    st.fixed_dictionaries(
        {
            "visit_id": st.sampled_from([None, "V1", "V2", "V3"]),
            "unit_id": st.sampled_from([None, "U1", "U2"]),
            "visit_date": st.sampled_from([None, TODAY, TODAY + dt.timedelta(days=1), dt.date(2020, 5, 5)]),
            "return_db_f": SOMETIMES,
            "return_wb_f": SOMETIMES,
            "mode": st.sampled_from([None, "cooling"]),
        }
    ),
    max_size=12,
)


@settings(deadline=None, max_examples=50)
@given(VISITS)
def test_every_row_is_kept_repeated_or_rejected(rows: list[dict[str, object]]) -> None:
    """Lines of the three outcomes are disjoint and together all lines; every rejected line has a row finding."""
    given_rows = parsed(rows) if rows else replace(parsed([visit(1)]), frame=parsed([visit(1)]).frame.clear())
    got = run(given_rows)
    kept = set(got.frame["source_line"])
    repeated = set(got.repeated["source_line"])
    refused = set(got.findings.filter(scope="row")["source_line"])
    assert kept | repeated | refused == set(given_rows.frame["source_line"])
    assert len(kept) + len(repeated) + len(refused) == given_rows.frame.height
    assert got.rows_rejected == len(refused)
    key = got.frame.select("visit_id", "unit_id")
    assert key.is_unique().all()


@settings(deadline=None, max_examples=50)
@given(VISITS.filter(bool), st.randoms(use_true_random=False))
def test_row_order_changes_nothing(rows: list[dict[str, object]], random: object) -> None:
    """Lines travel with their rows, so a shuffled frame gives the same answer."""
    straight = parsed(rows)
    order = list(range(len(rows)))
    random.shuffle(order)  # type: ignore[attr-defined]
    shuffled = replace(straight, frame=straight.frame[order])
    one, two = run(straight), run(shuffled)
    assert one.frame.equals(two.frame)
    assert one.findings.equals(two.findings)
    assert one.suspects.equals(two.suspects)


@settings(deadline=None, max_examples=50)
@given(VISITS.filter(bool))
def test_checking_again_changes_nothing(rows: list[dict[str, object]]) -> None:
    """What is kept passes."""
    once = run(parsed(rows))
    twice = run(Rows("visits", once.frame, once.columns))
    assert twice.frame.equals(once.frame)
    assert twice.findings.is_empty()
