"""Ratings copied as readings are told from rounding, and an honest technician is not accused."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from scipy import stats

from pipeline.enrich.copied_ratings import COPIED, copied_ratings, copying


def honest(
    technician: str, count: int, *, rated: float = 40.0, step: float = 0.1, spread_pct: float = 4.0, draw: int = 1
):
    """Return bench readings of worn parts as an honest technician writes them: rounded to the meter's step."""
    random = np.random.default_rng(draw)
    true = rated * (1 + random.normal(-3.0, spread_pct, count) / 100)
    return rows(technician, [round(round(v / step) * step, 2) for v in true], rated)


def rows(technician: str, measured: list[float], rated: float = 40.0) -> pl.DataFrame:
    """Return bench readings of one technician."""
    return pl.DataFrame(
        {
            "visit_id": [f"{technician}{n}" for n in range(len(measured))],
            "unit_id": [f"U{n}" for n in range(len(measured))],
            "section": ["herm"] * len(measured),
            "technician": [technician] * len(measured),
            "measured_uf": [float(v) for v in measured],
            "rated_uf": [rated] * len(measured),
            "rated_source": ["register"] * len(measured),
            "method": ["bench"] * len(measured),
            "is_new_part": [False] * len(measured),
        }
    )


def verdict(found: pl.DataFrame, technician: str) -> dict[str, object]:
    """Return one technician's row."""
    return found.filter(technician=technician).row(0, named=True)


def test_one_who_copies_half_is_found_and_only_the_equal_readings_are_held() -> None:
    """Thirty of sixty readings equal 40.0; the others are believed."""
    readings = pl.concat([honest("A", 60), honest("B", 30, draw=2), rows("B", [40.0] * 30)])
    found = copying(readings)
    assert verdict(found, "B")["copies"] is True
    assert verdict(found, "A")["copies"] is False
    held = copied_ratings(readings, found)
    equal = readings.filter((pl.col("technician") == "B") & (pl.col("measured_uf") == 40.0))
    assert sorted(held["visit_id"]) == sorted(equal["visit_id"])
    assert held.select("field", "reason").unique().rows() == [("herm_uf", COPIED)]


def test_one_who_rounds_to_whole_numbers_is_not_accused() -> None:
    """A 5 uF section read to the whole microfarad is 5 whenever it is between 4.5 and 5.5."""
    found = copying(honest("A", 200, rated=5.0, step=1.0))
    assert verdict(found, "A")["exact"] > 150
    assert verdict(found, "A")["copies"] is False


def test_new_parts_read_to_the_tenth_are_not_accused() -> None:
    """Parts at their rating, noise 1.7 %: the case the chance is computed for."""
    random = np.random.default_rng(7)
    measured = [round(v, 1) for v in 5.0 * (1 + random.normal(0, 1.7, 300) / 100)]
    found = copying(rows("A", measured, 5.0))
    row = verdict(found, "A")
    # Half a step of 0.1 on 5 is 1 %: P(|noise| < 1 %) = 0.4436 at one standard deviation of 1.7 %.
    assert row["expected"] == pytest.approx(300 * (2 * stats.norm.cdf(1 / 1.7) - 1), rel=1e-9)
    assert row["copies"] is False


def test_p_value_is_the_binomial_upper_tail() -> None:
    """Ten equal of forty at 40.0 in tenths; scipy.stats as the reference library."""
    off = [39.9 - 0.1 * n for n in range(30)]
    row = verdict(copying(rows("A", [round(v, 1) for v in off] + [40.0] * 10)), "A")
    chance = 2 * stats.norm.cdf(0.125 / 1.7) - 1
    assert row["step_uf"] == 0.1
    # Doubled: all readings and the telling ones are tried, here the same.
    assert row["p_value"] == pytest.approx(2 * stats.binom.sf(9, 40, chance), rel=1e-9)
    expected = 40 * chance
    assert row["copy_share"] == pytest.approx((10 - expected) / (40 - expected))


def test_one_who_copies_now_and_then_is_believed_on_small_sections() -> None:
    """One herm reading in five is copied: equal 40.0s are likelier copied than read, equal 5.0s are not.

    c = 0.2: 0.2 against 0.8 * 0.06 on 40 uF and against 0.8 * 0.44 on 5 uF, in tenths.
    """
    fan = honest("A", 80, rated=5.0, draw=4).with_columns(section=pl.lit("fan"), visit_id="F" + pl.col("visit_id"))
    readings = pl.concat([honest("A", 80, draw=3), rows("A", [40.0] * 20), fan])
    found = copying(readings)
    assert verdict(found, "A")["copies"] is True
    assert 0.1 < verdict(found, "A")["copy_share"] < 0.3
    assert copied_ratings(readings, found)["field"].unique().to_list() == ["herm_uf"]
    assert (readings.filter(section="fan")["measured_uf"] == 5.0).sum() > 5


def test_few_equal_readings_say_nothing() -> None:
    """Four are not again and again, however unlikely."""
    assert verdict(copying(rows("A", [40.0] * 4, 40.0)), "A")["copies"] is False


def test_only_equal_readings_count_in_their_favour_as_whole_numbers() -> None:
    """Nothing tells the step: whole numbers are assumed, and thirty of thirty are still too many."""
    row = verdict(copying(rows("A", [40.0] * 30)), "A")
    assert row["step_uf"] == 1.0
    assert row["copies"] is True


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("is_new_part", True),
        ("method", "under_load"),
        ("rated_source", "nearest_size"),
        ("technician", None),
        ("rated_uf", None),
    ],
)
def test_readings_that_cannot_tell_are_left_out(column: str, value: object) -> None:
    """New parts, computed readings, guessed ratings, unknown hands."""
    readings = rows("A", [40.0] * 30)
    changed = readings.with_columns(pl.lit(value, readings.schema[column]).alias(column))
    assert copying(changed).is_empty()
    assert copied_ratings(changed, copying(readings)).is_empty()


def test_honest_shops_are_left_alone() -> None:
    """Forty honest technicians of every step and size: none accused."""
    sizes, steps = [5.0, 7.5, 35.0, 45.0], [0.1, 0.5, 1.0]
    shop = [
        honest(f"T{n}", 80, rated=sizes[n % 4], step=steps[n % 3], spread_pct=2.0 + n % 3, draw=n) for n in range(40)
    ]
    assert not copying(pl.concat(shop))["copies"].any()


def test_row_order_changes_nothing() -> None:
    """The same answer for a shuffled shop."""
    readings = pl.concat([honest("A", 60), rows("B", [40.0] * 30)])
    assert copying(readings.sample(fraction=1.0, shuffle=True, seed=3)).equals(copying(readings))
