"""Lives of units and components: where they begin, how they end, what is censored; and what is made of them."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import polars as pl
import pytest

from pipeline.forecast.exposure import counted_failures, exposure
from pipeline.forecast.lifetimes import life_groups, lifetimes, survival_curves
from pipeline.forecast.lives import SPAN_SCHEMA, component_spans, unit_spans
from tests.builders import make_frame, make_parts

AS_OF = dt.date(2026, 1, 1)
SEEN = {"first_visit_on": pl.Date, "last_visit_on": pl.Date, "visits_stored": pl.Int64}
BORN, FIRST = dt.date(2010, 1, 1), dt.date(2020, 1, 1)
READINGS = {
    "unit_id": pl.String,
    "visit_id": pl.String,
    "at_replacement": pl.Boolean,
    "out_of_tolerance": pl.Boolean,
}


def unit(unit_id: str = "U", **more: Any) -> dict[str, Any]:
    return {
        "unit_id": unit_id,
        "make": "Halden",
        "installed_on": BORN,
        "first_visit_on": FIRST,
        "last_visit_on": dt.date(2025, 6, 1),
        "visits_stored": 3,
        **more,
    }


def register(*rows: dict[str, Any]) -> pl.DataFrame:
    return make_frame("units", list(rows), SEEN)


@pytest.mark.parametrize(
    ("because", "ended_by"),
    [
        ("compressor failed", "failed"),
        ("coil leaks, not worth it", "failed"),
        ("house sold", "removed by choice"),
        ("owner replaced it", "removed by choice"),
        (None, "reason not known"),
        ("other", "reason not known"),
    ],
)
def test_a_removal_is_a_failure_only_if_its_reason_says_so(because, ended_by):
    units = register(unit(retired_on=dt.date(2024, 1, 1), retired_because=because))
    row = unit_spans(units, exposure(units, AS_OF, 36)).row(0, named=True)
    assert (row["ended_by"], row["failed"]) == (ended_by, ended_by == "failed")
    # first seen at ten years, gone at fourteen
    assert (row["entry"], row["leave"]) == pytest.approx((3652 / 365.25, 5113 / 365.25))


def test_a_unit_of_no_known_age_or_met_before_its_install_has_no_life():
    units = register(unit("a", installed_on=None), unit("b", installed_on=dt.date(2021, 1, 1)))
    assert unit_spans(units, exposure(units, AS_OF, 36)).is_empty()


def spans_of(kind: str, *, found_out: bool = False, cause: str | None = None) -> list[tuple[str, float, float]]:
    """One capacitor fitted on 1 January 2023 on a visit of ``kind``."""
    units = register(unit())
    on = dt.date(2023, 1, 1)
    visits = make_frame(
        "visits",
        [
            {"unit_id": "U", "visit_id": "1", "visit_date": FIRST, "visit_type": "maintenance"},
            {"unit_id": "U", "visit_id": "2", "visit_date": on, "visit_type": kind, "cause": cause},
        ],
    )
    parts = make_parts([{"unit_id": "U", "visit_id": "2", "visit_date": on, "part": "run_capacitor"}])
    readings = pl.DataFrame(
        [{"unit_id": "U", "visit_id": "2", "at_replacement": True, "out_of_tolerance": found_out}], schema=READINGS
    )
    exposed = exposure(units, AS_OF, 36)
    found = component_spans(units, exposed, visits, parts, counted_failures(visits, exposed), readings)
    return [
        (row[0], round(row[1], 1), round(row[2], 1)) for row in found.select("ended_by", "entry", "leave").iter_rows()
    ]


def test_replaced_on_a_repair_it_failed_and_the_next_begins_at_zero():
    assert spans_of("repair") == [("failed", 10.0, 13.0), ("still there", 0.0, 3.0)]


def test_replaced_on_a_tune_up_inside_tolerance_nothing_failed():
    assert spans_of("maintenance") == []


def test_replaced_on_a_tune_up_out_of_tolerance_it_failed():
    assert spans_of("maintenance", found_out=True)[0] == ("failed", 10.0, 13.0)


def test_a_call_and_its_part_are_one_end():
    assert spans_of("no_cooling", cause="run_capacitor") == [("failed", 10.0, 13.0), ("still there", 0.0, 3.0)]


def lives(rows: list[tuple[float, float, bool]], make: str = "Halden") -> pl.DataFrame:
    return pl.DataFrame(
        [
            {
                "unit_id": str(n),
                "make": make,
                "component": "compressor",
                "entry": entry,
                "leave": leave,
                "failed": failed,
                "ended_by": "failed" if failed else "still there",
            }
            for n, (entry, leave, failed) in enumerate(rows)
        ],
        schema=SPAN_SCHEMA,
    )


def simulated(units: int = 900) -> list[tuple[float, float, bool]]:
    """Weibull lives of shape 3 and scale 16 years, met at up to 18 years of age, watched up to 8."""
    rng = np.random.default_rng(4)
    life, entry = 16 * rng.weibull(3, 6 * units), rng.uniform(0, 18, 6 * units)
    alive = life > entry
    life, entry = life[alive][:units], entry[alive][:units]
    end = entry + rng.uniform(1, 8, units)
    return [(e, min(x, t), bool(x <= t)) for e, x, t in zip(entry, life, end, strict=True)]


def test_the_median_of_a_simulated_component_comes_back():
    """True median 16 ln(2)^(1/3) = 14.16 years, B10 16 (-ln 0.9)^(1/3) = 7.56."""
    row = lifetimes(life_groups(lives(simulated()))).row(0, named=True)
    assert row["method"] == "fitted"
    assert row["median_years"] == pytest.approx(14.16, rel=0.06)
    assert row["median_low"] < 14.16 < row["median_high"]
    assert row["b10_low"] < 7.56 < row["b10_high"]
    assert row["curve_median"] == pytest.approx(14.16, rel=0.08)


def test_few_failures_say_so_and_none_give_only_a_lower_limit():
    few = lifetimes(life_groups(lives([(5.0, 9.0, True), (4.0, 8.0, True)] + [(3.0, 9.0, False)] * 30))).row(
        0, named=True
    )
    assert few["method"] == "shape_held"
    assert "too few to fit the shape" in few["caveat"]
    assert "beyond the oldest seen" in few["caveat"]
    none = lifetimes(life_groups(lives([(3.0, 9.0, False)] * 30))).row(0, named=True)
    assert (none["method"], none["median_years"], none["median_high"]) == ("no_failures", None, None)
    assert none["median_low"] > 9


def test_a_make_has_its_own_row_from_twenty_lives_and_five_failures_on():
    frame = pl.concat([lives(simulated(120)), lives(simulated(12), "Brisco")])
    assert lifetimes(life_groups(frame))["make"].to_list() == [None, "Halden"]


def test_curves_fall_and_are_thinned():
    curves = survival_curves(life_groups(lives(simulated())))
    assert curves["make"].unique().sort(nulls_last=True).to_list() == ["Halden", None]
    for _, curve in curves.group_by("make"):
        assert 10 < curve.height <= 62  # 60 steps, where it begins and where it ends
        assert curve["survival"].is_sorted(descending=True)
        assert (curve["survival_low"] <= curve["survival"]).fill_null(True).all()
        assert curve["failures"].is_sorted()


def test_a_curve_begins_where_enough_were_met_and_ends_where_too_few_are_left():
    """By hand: entries 0 to 5, so five are met at 4; at 7 all eight are at risk, 1 - 1/8; at 8 seven, times 1 - 1/7.

    The third failure, at 10, finds only four at risk: it is not drawn, and the curve ends at 9.5, where five still are.
    """
    rows = [(0.0, 7.0, True), (1.0, 8.0, True), (2.0, 9.0, False), (3.0, 9.5, False)]
    rows += [(4.0, 10.0, True), (5.0, 11.0, False), (5.0, 11.0, False), (5.0, 12.0, False)]
    curve = survival_curves(life_groups(lives(rows)))
    assert curve["age_years"].to_list() == [4.0, 7.0, 8.0, 9.5]
    assert curve["at_risk"].to_list() == [None, 8, 7, 5]
    assert curve["failures"].to_list() == [0, 1, 2, 2]
    assert curve["survival"].to_list() == pytest.approx([1.0, 7 / 8, 6 / 8, 6 / 8])


def test_a_curve_runs_flat_to_the_last_age_at_which_enough_are_watched():
    rows = [(0.0, 7.0, True)] + [(1.0, 10.0 + n, False) for n in range(6)]
    curve = survival_curves(life_groups(lives(rows)))
    assert curve.select("age_years", "at_risk", "failures").rows() == [(1.0, None, 0), (7.0, 7, 1), (11.0, 5, 1)]


def test_a_component_that_never_failed_has_no_curve():
    assert survival_curves(life_groups(lives([(3.0, 9.0, False)] * 30))).is_empty()
