"""The backtest: no leak, every past season but the first on both days, honest counts, a careful guard."""

from __future__ import annotations

import dataclasses
import datetime as dt

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipeline.config import Settings
from pipeline.forecast.backtest import BACKTEST_SCHEMA, Backtest, backtest, guard
from pipeline.forecast.model import apply, fit
from pipeline.forecast.record import summarise
from tests.simulators.fleet import Fleet, Shop, simulate


@pytest.fixture(scope="module")
def fleet() -> Fleet:
    """A fleet with three finished seasons."""
    return simulate(Shop(units=250, years=3, seed=8))


@pytest.fixture(scope="module")
def past(fleet: Fleet) -> Backtest:
    """Its backtest."""
    return backtest(fleet.history, fleet.as_of, Settings())


def test_every_season_but_the_first_on_both_days(past: Backtest) -> None:
    """Records start in 2018: the seasons of 2019 and 2020, each on 1 February and on the eve, one row per unit."""
    assert past.units.schema == BACKTEST_SCHEMA
    assert past.units.select("season", "as_of").unique().sort("as_of").rows() == [
        ("2019", dt.date(2019, 2, 1)),
        ("2019", dt.date(2019, 4, 30)),
        ("2020", dt.date(2020, 2, 1)),
        ("2020", dt.date(2020, 4, 30)),
    ]
    assert past.units.select("unit_id", "season", "as_of").is_unique().all()


def test_what_came_later_changes_no_odds(fleet: Fleet, past: Backtest) -> None:
    """Without any row after the season of 2019 its backtest is the same, row by row."""
    cut = fleet.history.tidy().through(dt.date(2019, 9, 30))
    early = backtest(cut, dt.date(2019, 9, 30), Settings()).units
    assert_frame_equal(early, past.units.filter(pl.col("season") == "2019"))


def test_outcomes_of_the_season_change_no_odds(fleet: Fleet, past: Backtest) -> None:
    """Turning every visit of summer 2020 into a failure changes what happened, and no forecast of 2020."""
    summer = pl.col("visit_date").is_between(dt.date(2020, 5, 1), dt.date(2020, 9, 30))
    visits = fleet.history.visits.with_columns(
        visit_type=pl.when(summer).then(pl.lit("no_cooling")).otherwise("visit_type")
    )
    other = backtest(dataclasses.replace(fleet.history, visits=visits), fleet.as_of, Settings()).units
    keys = ["unit_id", "season", "as_of", "p_failure", "p_low", "p_high", "flagged"]
    assert_frame_equal(other.select(keys), past.units.select(keys))
    assert other["failed"].sum() > past.units["failed"].sum()


def test_backtest_odds_are_the_forecast_of_that_day(fleet: Fleet, past: Backtest) -> None:
    """The row of a past day is what fit and apply would have said on it."""
    day = dt.date(2020, 4, 30)
    settings = Settings()
    then = apply(fleet.history, fit(fleet.history, day, settings), day, settings).units
    row = past.units.filter(pl.col("as_of") == day).join(then, on="unit_id", suffix="_then")
    assert row.height == past.units.filter(pl.col("as_of") == day).height
    assert row["p_failure"].to_list() == pytest.approx(row["p_failure_then"].to_list(), rel=1e-5)


def test_counts_add_up(past: Backtest) -> None:
    """Flagged and others make the units, their failures the failures; left out are the rows without an outcome."""
    for day in past.record.days:
        rows = past.units.filter(pl.col("asked") == day.asked)
        assert day.units + day.left_out == rows.height
        assert day.flagged.units + day.others.units == day.units
        assert day.flagged.failed + day.others.failed == day.failures == rows["failed"].sum()
        assert sum(day.causes_happened.values()) == day.failures
        assert sum(b.units for b in day.bins) == day.units
        assert sum(day.causes_expected.values()) == pytest.approx(day.expected_failures, abs=0.1)


def test_below_thirty_failures_nothing_is_judged() -> None:
    """29 failures: no skill, no slope, no guard, whatever the odds said; 30 failures with the odds upside down: bad."""

    def rows(failures: int) -> pl.DataFrame:
        n = 600
        failed = [i < failures for i in range(n)]
        return pl.DataFrame(
            {
                "unit_id": [f"u{i:03d}" for i in range(n)],
                "season": ["2024"] * n,
                "as_of": [dt.date(2024, 4, 30)] * n,
                "asked": ["eve"] * n,
                "p_failure": [0.02 if bad else 0.30 for bad in failed],
                "flagged": [not bad for bad in failed],
                "last_reading_out": [False] * n,
                "failed": failed,
                "failed_cause": [None] * n,
                "cause_shares": ['{"other": 1.0}'] * n,
            }
        )

    none = pl.DataFrame(schema={"asked": pl.String, "place": pl.Float64})
    few, enough = summarise(rows(29), none), summarise(rows(30), none)
    assert few.days[0].too_few
    assert (few.days[0].skill, few.days[0].slope, few.bad) == (None, None, False)
    assert not enough.days[0].too_few
    assert enough.bad
    assert "worse than the base rate" in enough.why


def test_guard_tempers_only_on_a_bad_record(fleet: Fleet, past: Backtest) -> None:
    """A record that does not speak against the model leaves it; a bad one draws the odds in, and says so."""
    params = fit(fleet.history, fleet.as_of, Settings())
    assert guard(params, dataclasses.replace(past.record, bad=False)) is params
    tempered = guard(params, dataclasses.replace(past.record, bad=True, temper=(-1.5, 0.3)))
    assert tempered.units.mode == "fallback"
    plain = apply(fleet.history, params, fleet.as_of, Settings()).units
    drawn = apply(fleet.history, tempered, fleet.as_of, Settings()).units
    assert drawn["basis"].unique().to_list() == ["fallback"]
    assert drawn["p_failure"].log().std() < 0.5 * plain["p_failure"].log().std()


def test_one_season_of_records_gives_no_backtest() -> None:
    """Nothing to hold against: empty frames, a record that judges nothing."""
    young = simulate(Shop(units=60, years=1, seed=2))
    past = backtest(young.history, young.as_of, Settings())
    assert past.units.is_empty()
    assert not past.record.bad
