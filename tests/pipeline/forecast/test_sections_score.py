"""Past drift forecasts against the readings that followed."""

from __future__ import annotations

import datetime as dt

from polars.testing import assert_frame_equal

from pipeline.forecast.sections_score import next_readings
from tests.pipeline.forecast.test_bad_input import history, springs
from tests.pipeline.forecast.test_sections_apply import PARAMS

CUTOFF, UNTIL = dt.date(2025, 2, 1), dt.date(2025, 9, 30)
UNITS = ["a", "b", "c"]
YEARS = range(2022, 2026)


def readings(falls: dict[str, float]) -> list[tuple[str, dt.date, float]]:
    """Return one reading each spring, falling by so much a year."""
    return [(u, d, falls[u] * (d.year - 2021)) for u, d, _ in springs(UNITS, YEARS) if u in falls]


def test_a_reading_has_the_same_odds_whoever_else_was_read() -> None:
    """Unit b is read every spring, its neighbours are or are not: its odds stay the same."""
    alone = history(UNITS, springs(UNITS, YEARS), readings({"b": -1.6}))
    among = history(UNITS, springs(UNITS, YEARS), readings({"a": -0.2, "b": -1.6, "c": -4.0}))
    one, three = (next_readings(case.tidy(), PARAMS, CUTOFF, UNTIL) for case in (alone, among))
    assert one["unit_id"].to_list() == ["b"]
    assert three["unit_id"].to_list() == UNITS
    assert_frame_equal(one, three.filter(three["unit_id"] == "b"), abs_tol=1e-6)
    assert three["below"].to_list() == [False, True, True]
    assert three["p_below"].is_sorted()


def test_the_place_of_a_reading_lies_within_0_and_1() -> None:
    """4.8 % down after falling 1.6 a year lies inside the 90 % interval; 20 % down, far outside."""
    seen = readings({"b": -1.6})
    case = history(UNITS, springs(UNITS, YEARS), seen).tidy()
    assert 0.05 < next_readings(case, PARAMS, CUTOFF, UNTIL)["place"].item() < 0.95
    fell = history(UNITS, springs(UNITS, YEARS), [*seen[:-1], (*seen[-1][:2], -20.0)]).tidy()
    assert next_readings(fell, PARAMS, CUTOFF, UNTIL)["place"].item() < 0.02
