"""The virtual charge form: its arithmetic by hand, and where it is silent."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.enrich.charge import charge_readings
from pipeline.enrich.charge_level import virtual_charge_pct
from pipeline.enrich.limits import limits
from tests.charge_states import frames, reading, unit


@pytest.mark.parametrize(
    ("subcooling_off_f", "superheat_off_f", "pct"),
    [  # 100/72.9 x (dSC - dSH/2.5); form and constants of Li & Braun 2009 from memory
        (-8.0, 10.0, -16.5),  # (-8 - 4)/72.9
        (6.0, -5.0, 11.0),  # (6 + 2)/72.9
        (0.0, 0.0, 0.0),
    ],
)
def test_virtual_charge_arithmetic(subcooling_off_f: float, superheat_off_f: float, pct: float) -> None:
    found = pl.select(virtual_charge_pct(pl.lit(subcooling_off_f), pl.lit(superheat_off_f), limits())).item()
    assert found == pytest.approx(pct, abs=0.05)


def band(visit, system=None) -> tuple[float | None, float | None]:
    row = charge_readings(*frames(visit, system)).row(0, named=True)
    return row["charge_level_low_pct"], row["charge_level_high_pct"]


def test_the_level_is_a_band_of_twenty_points() -> None:
    # superheat 10 over target, subcooling 8 under 10: 83.5 % of the rated charge, give or take 10
    assert band(reading(20.0, 2.0)) == (pytest.approx(73.5, abs=0.1), pytest.approx(93.5, abs=0.1))


@pytest.mark.parametrize(
    ("visit", "system"),
    [
        (reading(0.0, 12.0), unit()),  # superheat 0
        (reading(20.0, 16.0), unit()),  # both up by more than 5: no pattern of charge
        (reading(2.0, 3.0), unit()),  # both down
        (reading(20.0, 2.0), unit(equipment="split_heat_pump")),  # accumulator
        (reading(20.0, 2.0, return_wb_f=None), unit()),  # not testable
        (reading(20.0, None), unit()),  # no subcooling
    ],
)
def test_no_level_where_the_form_does_not_hold(visit, system) -> None:
    assert band(visit, system) == (None, None)
