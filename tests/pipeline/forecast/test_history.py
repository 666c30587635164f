"""What was known on an earlier day."""

from __future__ import annotations

import datetime as dt

import polars as pl

from pipeline.forecast.history import (
    CHARGE_COLUMNS,
    PART_COLUMNS,
    READING_COLUMNS,
    SERIES_COLUMNS,
    UNIT_COLUMNS,
    VISIT_COLUMNS,
    History,
)


def day(text: str) -> dt.date:
    """Return a date."""
    return dt.date.fromisoformat(text)


SERIES = pl.DataFrame(
    [
        {"unit_id": "u", "section": "herm", "series": 1, "ended_on": day("2024-04-01"), "start_kind": "unknown"},
        {"unit_id": "u", "section": "herm", "series": 2, "started_on": day("2024-04-01"), "start_kind": "inferred"}
        | {"start_known_on": day("2025-04-01")},
    ],
    schema=SERIES_COLUMNS,
)
READINGS = pl.DataFrame(
    [
        {"unit_id": "u", "visit_id": v, "visit_date": day(d), "section": "herm", "series": s}
        for v, d, s in (("a", "2023-04-01", 1), ("b", "2024-04-01", 2), ("c", "2025-04-01", 2))
    ],
    schema=READING_COLUMNS,
)
HISTORY = History(
    series=SERIES,
    cap_readings=READINGS,
    charge=pl.DataFrame(schema=CHARGE_COLUMNS),
    visits=pl.DataFrame(
        [
            {"unit_id": u, "visit_id": v, "visit_date": day(d)}
            for u, v, d in (("u", "a", "2023-04-01"), ("u", "c", "2025-04-01"), ("new", "d", "2025-05-01"))
        ],
        schema=VISIT_COLUMNS,
    ),
    parts=pl.DataFrame(schema=PART_COLUMNS),
    units=pl.DataFrame([{"unit_id": "u", "retired_on": day("2025-06-01")}, {"unit_id": "new"}], schema=UNIT_COLUMNS),
)


def test_a_part_that_later_readings_told_of_is_not_known_before() -> None:
    """In 2024 the old part is in service and the rise waits; in 2025 both are there, the first one ended."""
    then = HISTORY.tidy().through(day("2024-12-31"))
    assert then.series.select("series", "ended_on").rows() == [(1, None)]
    assert then.cap_readings["visit_id"].to_list() == ["a"]
    later = HISTORY.tidy().through(day("2025-04-01"))
    assert later.series.select("series", "ended_on").rows() == [(1, day("2024-04-01")), (2, None)]
    assert later.cap_readings["visit_id"].to_list() == ["a", "b", "c"]


def test_units_enter_with_their_first_visit_and_retire_on_the_day() -> None:
    """Before its first visit a unit is not there; a retirement that lies ahead is not known."""
    then = HISTORY.tidy().through(day("2024-12-31")).units
    assert then.select("unit_id", "last_visit_on", "retired_on").rows() == [("u", day("2023-04-01"), None)]
    later = HISTORY.tidy().through(day("2025-06-01")).units
    assert later.select("unit_id", "retired_on").rows() == [("new", None), ("u", day("2025-06-01"))]


def test_looking_back_twice_is_looking_back_once() -> None:
    """A cut at the earlier day of what was known on a later one is the cut at the earlier day."""
    tidy = HISTORY.tidy()
    once, twice = tidy.through(day("2024-12-31")), tidy.through(day("2025-05-31")).through(day("2024-12-31"))
    assert once.series.equals(twice.series)
    assert once.visits.equals(twice.visits)
    assert once.units.equals(twice.units)


def test_missing_columns_read_as_blank() -> None:
    """A frame without a column is tidied to one with nulls."""
    tidy = History(
        series=SERIES.drop("tolerance_pct"),
        cap_readings=READINGS,
        charge=HISTORY.charge,
        visits=HISTORY.visits,
        parts=HISTORY.parts,
        units=HISTORY.units,
    ).tidy()
    assert tidy.series.schema == SERIES_COLUMNS
    assert tidy.series["tolerance_pct"].null_count() == 2
