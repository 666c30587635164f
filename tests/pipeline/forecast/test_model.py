"""The forecast as a whole: columns, determinism, leaks."""

from __future__ import annotations

import dataclasses
import datetime as dt

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipeline.config import Settings
from pipeline.forecast.history import History
from pipeline.forecast.model import UNIT_FORECAST_SCHEMA, Forecasts, apply, fit
from pipeline.forecast.params import Params
from pipeline.forecast.sections_apply import SECTION_FORECAST_SCHEMA
from tests.simulators.fleet import Fleet, Shop, simulate

FRAMES = [field.name for field in dataclasses.fields(History)]


@pytest.fixture(scope="module")
def fleet() -> Fleet:
    """A small fleet with three finished seasons."""
    return simulate(Shop(units=250, years=3, seed=5))


@pytest.fixture(scope="module")
def params(fleet: Fleet) -> Params:
    """What that fleet teaches."""
    return fit(fleet.history, fleet.as_of, Settings())


@pytest.fixture(scope="module")
def forecasts(fleet: Fleet, params: Params) -> Forecasts:
    """The forecast for it."""
    return apply(fleet.history, params, fleet.as_of, Settings())


def test_frames_have_the_declared_columns(fleet: Fleet, forecasts: Forecasts) -> None:
    """One row per unit, one per section in service."""
    assert forecasts.units.schema == UNIT_FORECAST_SCHEMA
    assert forecasts.sections.schema == SECTION_FORECAST_SCHEMA
    assert forecasts.units["unit_id"].to_list() == fleet.units
    assert forecasts.sections.select("unit_id", "section").is_unique().all()


def test_params_survive_json(params: Params) -> None:
    """To JSON and back is the identity."""
    assert Params.from_json(params.to_json()) == params


def test_row_order_is_irrelevant(fleet: Fleet, params: Params, forecasts: Forecasts) -> None:
    """Shuffled frames give the same parameters and the same forecasts."""
    shuffled = History(
        **{name: getattr(fleet.history, name).sample(fraction=1.0, shuffle=True, seed=4) for name in FRAMES}
    )
    again = fit(shuffled, fleet.as_of, Settings())
    assert again == params
    assert_frame_equal(apply(shuffled, again, fleet.as_of, Settings()).units, forecasts.units)


def test_later_rows_change_nothing(fleet: Fleet, params: Params) -> None:
    """A forecast for an earlier day is the same with and without what was recorded after it."""
    day = dt.date(2020, 2, 1)
    settings = Settings()
    cut = fleet.history.tidy().through(day)
    before, after = fit(cut, day, settings), fit(fleet.history, day, settings)
    assert before == after
    first, second = apply(cut, before, day, settings), apply(fleet.history, after, day, settings)
    assert_frame_equal(first.units, second.units)
    assert_frame_equal(first.sections, second.sections)


def test_every_probability_is_inside(forecasts: Forecasts) -> None:
    """No 0, no 1, no NaN; the interval holds the value."""
    units = forecasts.units
    assert units.filter(
        ~((pl.col("p_low") <= pl.col("p_failure")) & (pl.col("p_failure") <= pl.col("p_high")))
    ).is_empty()
    assert units["p_failure"].is_between(1e-4, 0.995).all()
    assert units["p_failure"].is_finite().all()
    for column in ("p_out_now", "p_out_by_season_start", "p_out_by_season_end"):
        assert forecasts.sections[column].is_between(1e-4, 1 - 1e-4).all()
