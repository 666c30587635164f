"""Level and slope of a unit's loss of charge."""

from __future__ import annotations

import datetime as dt

import polars as pl
import pytest

from pipeline.forecast.charge_state import charge_state
from pipeline.forecast.history import (
    CHARGE_COLUMNS,
    PART_COLUMNS,
    READING_COLUMNS,
    SERIES_COLUMNS,
    UNIT_COLUMNS,
    VISIT_COLUMNS,
    History,
)

JULY = dt.date(2026, 7, 15)


def state(losses: list[tuple[int, float]], added: dict[int, float]) -> dict[str, float]:
    """Return the state of one 3-ton unit in July 2026 from losses [degF] and additions [oz] on 1 April of a year."""
    visits = pl.DataFrame(
        [
            {"unit_id": "u", "visit_id": str(y), "visit_date": dt.date(y, 4, 1), "refrigerant_added_oz": added.get(y)}
            for y in range(2020, 2027)
        ],
        schema=VISIT_COLUMNS,
    )
    charge = pl.DataFrame(
        [{"unit_id": "u", "visit_id": str(y), "visit_date": dt.date(y, 4, 1), "leak_loss_f": f} for y, f in losses],
        schema=CHARGE_COLUMNS,
    )
    units = pl.DataFrame([{"unit_id": "u", "nominal_tons": 3.0}], schema=UNIT_COLUMNS)
    empty = [pl.DataFrame(schema=s) for s in (SERIES_COLUMNS, READING_COLUMNS)]
    history = (
        History(*empty, charge, visits, pl.DataFrame(schema=PART_COLUMNS), units).tidy().through(dt.date(2026, 4, 10))
    )
    return {name: float(values[0]) for name, values in charge_state(history, history.units, JULY).items()}


def test_a_steady_leak_is_followed() -> None:
    """4 degF a year since 2020, read each spring: near 25 in July 2026, slope near 4."""
    found = state([(y, 4.0 * (y - 2020)) for y in range(2021, 2027)], {})
    assert found["charge_loss_f"] == pytest.approx(25.0, abs=2.5)
    assert found["leak_slope"] == pytest.approx(4.0, abs=1.0)


def test_an_addition_starts_afresh() -> None:
    """The same unit topped up this April: little lost, and what was added counts as a yearly loss.

    20 oz of 3 x 45 oz is 14.8 % of the charge, over the 5 years watched and one: 2.5 % a year.
    """
    found = state([(y, 4.0 * (y - 2020)) for y in range(2021, 2027)], {2026: 20.0})
    assert found["charge_loss_f"] < 2.0
    assert found["added"] == pytest.approx(100 * 20 / 135 / 6, rel=1e-6)


def test_one_noisy_reading_is_shrunk() -> None:
    """A single 9 degF after years at zero is believed in part."""
    found = state([(2023, 0.0), (2024, 0.0), (2025, 0.0), (2026, 9.0)], {})
    assert 1.0 < found["charge_loss_f"] < 8.0


def test_unread_is_the_prior_and_less_sure() -> None:
    """No reading at all: a positive guess with a wider spread than a read unit's."""
    unread, read = state([], {}), state([(2026, 0.0)], {})
    assert unread["charge_loss_f"] > 0
    assert unread["charge_sd_f"] > read["charge_sd_f"]
    assert unread["added"] == 0.0
