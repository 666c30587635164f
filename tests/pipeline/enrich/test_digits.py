"""Even last digits pass, a preference shows, and nothing is said on too few."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from scipy import stats

from pipeline.enrich.digits import digit_preference


def visits(technician: str, **fields: list[float | None]) -> pl.DataFrame:
    """Return visits of one technician."""
    count = len(next(iter(fields.values())))
    return pl.DataFrame({"technician": [technician] * count, **fields})


def pressures(count: int = 300, draw: int = 1) -> list[float]:
    """Return liquid pressures as a gauge shows them, to the psi."""
    return [float(v) for v in np.random.default_rng(draw).normal(340, 40, count).round()]


def test_honest_digits_are_no_preference() -> None:
    """A spread of 40 psi makes last digits even."""
    row = digit_preference(visits("A", liquid_psig=pressures())).row(0, named=True)
    assert row["digit_p_value"] > 0.01
    assert row["digit_readings"] == 300


def test_fives_and_zeros_show() -> None:
    """Read to the nearest 5 psi."""
    row = digit_preference(visits("A", liquid_psig=[5 * round(v / 5) * 1.0 for v in pressures()])).row(0, named=True)
    assert row["digit_p_value"] < 1e-9
    assert row["favourite_digit"] in (0, 5)
    assert row["favourite_share"] == pytest.approx(0.5, abs=0.1)


def test_chi_square_is_pearsons() -> None:
    """Against scipy.stats.chisquare, a reference library, on digits with some never written."""
    values = [300.0 + digit + 10 * n for n in range(20) for digit in (0, 0, 3, 5, 7)]
    seen = [40, 0, 0, 20, 0, 20, 0, 20, 0, 0]
    row = digit_preference(visits("A", liquid_psig=values)).row(0, named=True)
    expected = stats.chisquare(seen)
    assert row["chi_square"] == pytest.approx(expected.statistic)
    assert row["digit_p_value"] == pytest.approx(expected.pvalue)
    assert (row["favourite_digit"], row["favourite_share"], row["degrees"]) == (0, 0.4, 9)


def test_tenths_count_where_tenths_are_read() -> None:
    """A probe that shows tenths of a degree: the tenth is the last digit."""
    random = np.random.default_rng(2)
    shown = [float(v) for v in random.normal(95, 8, 300).round(1)]
    assert digit_preference(visits("A", liquid_line_f=shown)).row(0, named=True)["digit_p_value"] > 0.01
    halves = [round(2 * v) / 2 for v in shown]
    assert digit_preference(visits("A", liquid_line_f=halves)).row(0, named=True)["favourite_digit"] in (0, 5)


def test_microfarads_are_not_judged_by_their_digits() -> None:
    """They crowd below ratings that end in 0 and 5."""
    assert digit_preference(visits("A", herm_uf=[40.0, 35.0, 45.0] * 50)).is_empty()


def test_fields_add_up() -> None:
    """Two fields: the statistics and degrees of freedom are summed."""
    one, two = pressures(draw=1), pressures(draw=2)
    both = digit_preference(visits("A", liquid_psig=one, suction_psig=two)).row(0, named=True)
    apart = [digit_preference(visits("A", liquid_psig=v)).row(0, named=True)["chi_square"] for v in (one, two)]
    assert both["chi_square"] == pytest.approx(sum(apart))
    assert both["degrees"] == 18


def test_too_few_or_too_narrow_says_nothing() -> None:
    """Under fifty readings, or a spread under five steps."""
    assert digit_preference(visits("A", liquid_psig=pressures(49))).is_empty()
    assert digit_preference(visits("A", outdoor_db_f=[90.0, 91.0, 92.0] * 30)).is_empty()
    assert digit_preference(visits("A", liquid_psig=[None] * 80)).is_empty()
    assert digit_preference(pl.DataFrame({"technician": ["A"]})).is_empty()
