"""Failures and what ended a unit's exposure, on hand-made visits."""

from __future__ import annotations

import datetime as dt

import polars as pl

from pipeline.forecast.failures import failures, outcomes
from pipeline.forecast.history import PART_COLUMNS, UNIT_COLUMNS, VISIT_COLUMNS


def visits(*rows: tuple[str, str, str, str | None, float | None]) -> pl.DataFrame:
    """Return visits from unit, date, type, cause and ounces added."""
    return pl.DataFrame(
        [
            {"unit_id": u, "visit_id": f"v{i}", "visit_date": dt.date.fromisoformat(d), "visit_type": kind}
            | {"cause": cause, "refrigerant_added_oz": oz}
            for i, (u, d, kind, cause, oz) in enumerate(rows)
        ],
        schema=VISIT_COLUMNS,
    )


def test_two_calls_within_a_fortnight_are_one_failure() -> None:
    """Day 0, 14 and 28 with one cause: the third is measured from the first, the last that was counted."""
    found = failures(
        visits(
            ("a", "2025-07-01", "no_cooling", "contactor", None),
            ("a", "2025-07-15", "no_cooling", "contactor", None),
            ("a", "2025-07-29", "no_cooling", "contactor", None),
        )
    )
    assert found["visit_date"].to_list() == [dt.date(2025, 7, 1), dt.date(2025, 7, 29)]


def test_another_cause_is_another_failure_and_a_blank_one_is_not() -> None:
    """Same unit, three days on: counted with another cause, not with a blank; another unit is its own."""
    found = failures(
        visits(
            ("a", "2025-07-01", "no_cooling", "contactor", None),
            ("a", "2025-07-04", "no_cooling", "compressor", None),
            ("b", "2025-07-01", "no_cooling", "contactor", None),
            ("b", "2025-07-04", "no_cooling", None, None),
            ("c", "2025-07-01", "repair", "contactor", None),
        )
    )
    assert found.group_by("unit_id").len().sort("unit_id").rows() == [("a", 2), ("b", 1)]


def test_what_the_shop_did_ends_the_exposure() -> None:
    """Charge added, a part fitted on a quiet visit, retirement: yes. A filter drier, a part on the failure: no."""
    rows = visits(
        ("charged", "2025-06-01", "maintenance", None, 8.0),
        ("fitted", "2025-06-02", "maintenance", None, None),
        ("minor", "2025-06-03", "maintenance", None, None),
        ("failed", "2025-06-04", "no_cooling", "run_capacitor", None),
        ("early", "2025-04-30", "no_cooling", None, None),
        ("late", "2025-10-01", "no_cooling", None, None),
    )
    parts = pl.DataFrame(
        [
            {"unit_id": u, "visit_id": f"v{i}", "visit_date": dt.date(2025, 6, day), "part": part}
            for u, i, day, part in (
                ("fitted", 1, 2, "run_capacitor"),
                ("minor", 2, 3, "filter_drier"),
                ("failed", 3, 4, "run_capacitor"),
            )
        ],
        schema=PART_COLUMNS,
    )
    units = pl.DataFrame(
        [{"unit_id": u, "retired_on": None} for u in ("charged", "fitted", "minor", "failed", "early", "late")]
        + [{"unit_id": "retired", "retired_on": dt.date(2025, 7, 1)}],
        schema=UNIT_COLUMNS,
    )
    found = outcomes(rows, parts, units, dt.date(2025, 4, 30), dt.date(2025, 9, 30))
    changed = dict(found.select("unit_id", "changed_on").drop_nulls().iter_rows())
    failed = dict(found.select("unit_id", "failed_on").drop_nulls().iter_rows())
    assert changed == {"charged": dt.date(2025, 6, 1), "fitted": dt.date(2025, 6, 2), "retired": dt.date(2025, 7, 1)}
    assert failed == {"failed": dt.date(2025, 6, 4)}
