"""Whom to stop at, by hand arithmetic."""

from __future__ import annotations

import datetime as dt

import polars as pl
import pytest

from pipeline.config import Costs, Flagging, Settings
from pipeline.forecast.flagging import add_flags

AS_OF = dt.date(2026, 4, 1)
SEEN, UNSEEN = dt.date(2025, 6, 1), dt.date(2023, 3, 31)
CAPACITOR, OTHER = 0.8, 0.3
"""Share of failures that a stop prevents."""


def units(*rows: tuple[str, float, float, dt.date]) -> pl.DataFrame:
    """Return units from id, odds, share prevented and last visit."""
    names = ["unit_id", "p_failure", "prevention_share", "last_visit_on"]
    return pl.DataFrame(list(rows), schema=names, orient="row")


def settings(share_pct: float = 0.0) -> Settings:
    """A stop costs 100, an emergency call 500."""
    return Settings(
        costs=Costs(stop=100.0, emergency_call=500.0),
        flagging=Flagging(first_in_line_share_pct=share_pct),
    )


def test_worth_a_stop_is_expected_saving_over_cost() -> None:
    """Capacitor: p .26 x .8 x 500 = 104 > 100, p .24 gives 96. Other: p .66 x .3 x 500 = 99."""
    found = add_flags(
        units(("a", 0.26, CAPACITOR, SEEN), ("b", 0.24, CAPACITOR, SEEN), ("c", 0.66, OTHER, SEEN)), settings(), AS_OF
    )
    assert found["net_saving"].to_list() == pytest.approx([4.0, -4.0, -1.0])
    assert found["flagged"].to_list() == [True, False, False]


def test_first_in_line_is_never_empty_and_breaks_ties_by_unit() -> None:
    """5 % of ten units is one; of equal odds the first unit_id goes first; none asked for, none given."""
    ten = units(*((f"u{i}", 0.02, OTHER, SEEN) for i in reversed(range(10))))
    found = add_flags(ten, settings(5.0), AS_OF)
    assert found.filter("flagged")["unit_id"].to_list() == ["u0"]
    assert found.filter("worth_a_stop").is_empty()
    assert add_flags(ten, settings(0.0), AS_OF).filter("flagged").is_empty()


def test_unseen_for_36_months_is_never_flagged() -> None:
    """36 months to the day still counts as in care; a day more does not, and the next unit takes the place."""
    on_the_day = dt.date(2023, 4, 1)
    rows = units(("gone", 0.9, CAPACITOR, UNSEEN), ("edge", 0.9, CAPACITOR, on_the_day), ("low", 0.01, OTHER, SEEN))
    assert add_flags(rows, settings(5.0), AS_OF)["flagged"].to_list() == [False, True, False]
    assert add_flags(rows.filter(pl.col("unit_id") != "edge"), settings(5.0), AS_OF)["flagged"].to_list() == [
        False,
        True,
    ]


def test_rows_keep_their_order() -> None:
    """Same rows in the order given."""
    rows = units(("b", 0.2, OTHER, SEEN), ("a", 0.3, CAPACITOR, SEEN))
    assert add_flags(rows, settings(), AS_OF)["unit_id"].to_list() == ["b", "a"]
