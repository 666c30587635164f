"""Degree days of past seasons, where the shop keeps them: what they change and what they never may."""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl
import pytest

from pipeline.config import Settings
from pipeline.forecast.degree_days import HEAT_SCHEMA
from pipeline.forecast.heat import NO_HEAT, learn_heat
from pipeline.forecast.model import apply, fit
from pipeline.forecast.params import Params
from pipeline.forecast.seasons import Season
from tests.simulators.fleet import Fleet, Shop, simulate

SEASONS = [Season(dt.date(year, 5, 1), dt.date(year, 9, 30)) for year in range(2021, 2026)]


def days(*rows: tuple[int, float]) -> pl.DataFrame:
    """Return degree days by season."""
    return pl.DataFrame(list(rows), schema=HEAT_SCHEMA, orient="row")


@pytest.fixture(scope="module")
def fleet() -> Fleet:
    """A small fleet whose summers differ much."""
    return simulate(Shop(units=250, years=4, seed=17, weather_sd=0.4))


def station(fleet: Fleet) -> pl.DataFrame:
    """Return degree days that follow the summers' pull on failures."""
    return days(*((year, 1500.0 * pull) for year, pull in fleet.weather.items()))


def test_failures_that_follow_the_heat_are_told_apart_from_the_units() -> None:
    """Rates that rise with the square of the heat: an effect between the prior's .8 and 2; (heat / usual)^effect."""
    heat = np.array([1200.0, 1500.0, 1350.0, 1650.0, 1400.0])
    usual = float(np.exp(np.log(heat).mean()))
    watched = np.full(5, 1e5)
    (effect, middle), factors = learn_heat(
        SEASONS, 0.04 * watched * (heat / usual) ** 2, watched, days(*zip(range(2021, 2026), heat, strict=True))
    )
    assert middle == pytest.approx(usual)
    assert 1.4 < effect < 2.0
    assert factors == pytest.approx((heat / usual) ** effect)


def test_few_failures_leave_the_effect_where_it_starts() -> None:
    """One failure a season says nothing: the prior's .8, within a tenth."""
    heat = days((2021, 1200.0), (2022, 1700.0), (2023, 1400.0))
    (effect, _), _ = learn_heat(SEASONS[:3], np.ones(3), np.full(3, 25.0), heat)
    assert effect == pytest.approx(0.8, abs=0.1)


@pytest.mark.parametrize(
    "kept", [None, days(), days((2023, 1500.0)), days((1999, 900.0), (2000, 800.0)), days((2021, 0.0), (2022, 0.0))]
)
def test_without_two_seasons_of_heat_nothing_changes(kept: pl.DataFrame | None) -> None:
    """No file, an empty one, one season, other seasons, nothing but zeros."""
    found, factors = learn_heat(SEASONS, np.full(5, 9.0), np.full(5, 200.0), kept)
    assert found == NO_HEAT
    assert factors.tolist() == [1.0] * 5


def test_the_fit_is_the_same_without_the_file_and_moves_with_it(fleet: Fleet) -> None:
    """No degree days: the very same parameters. With them: an effect, another base rate, the same drift model."""
    settings = Settings()
    plain, none = fit(fleet.history, fleet.as_of, settings), fit(fleet.history, fleet.as_of, settings, days())
    warm = fit(fleet.history, fleet.as_of, settings, station(fleet))
    assert plain == none
    assert plain.units.heat == NO_HEAT
    assert warm.units.heat[0] > 0.5
    assert warm.sections == plain.sections
    assert Params.from_json(warm.to_json()) == warm
    odds = [apply(fleet.history, params, fleet.as_of, settings).units["p_failure"].mean() for params in (plain, warm)]
    assert odds[0] != odds[1]


def test_heat_after_the_seasons_learned_from_is_never_looked_at(fleet: Fleet) -> None:
    """The season ahead and later ones in the file change nothing: nobody knows their heat on the day."""
    known = station(fleet).filter(pl.col("season") < fleet.as_of.year)
    later = pl.concat([known, days((fleet.as_of.year, 9000.0), (fleet.as_of.year + 1, 1.0))])
    first, second = (fit(fleet.history, fleet.as_of, Settings(), heat) for heat in (known, later))
    assert first == second


def test_a_hot_past_does_not_raise_a_usual_season() -> None:
    """The same failures, told to have come in seasons twice as hot as the one before: a lower rate for a usual one."""
    heat = days((2024, 1000.0), (2025, 2000.0))
    _, factors = learn_heat(SEASONS[3:], np.array([10.0, 20.0]), np.array([250.0, 250.0]), heat)
    assert factors[0] < 1 < factors[1]
    rate = 30.0 / float((np.array([250.0, 250.0]) * factors).sum())
    assert rate < 30.0 / 500.0
