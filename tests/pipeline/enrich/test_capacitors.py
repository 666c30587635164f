"""Drift and series per section. Trade facts: common practice, no source, unless a line says otherwise."""

from __future__ import annotations

import datetime as dt
from typing import Any

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.enrich.capacitor_facts import capacitor_facts
from pipeline.enrich.capacitor_ratings import model_ratings
from pipeline.enrich.capacitor_values import under_load_uf
from pipeline.enrich.capacitors import (
    CAPACITOR_READINGS_SCHEMA,
    CAPACITOR_SERIES_SCHEMA,
    capacitor_history,
    drift_pct,
    is_out_of_tolerance,
)
from tests.builders import make_frame, make_parts

NO_SUSPECTS = pl.DataFrame(
    schema={"unit_id": pl.String, "visit_id": pl.String, "field": pl.String, "reason": pl.String}
)


def day(year: int, month: int = 4, of_month: int = 1) -> dt.date:
    return dt.date(year, month, of_month)


def history(
    visits: list[dict[str, Any]],
    parts: list[dict[str, Any]] | None = None,
    units: list[dict[str, Any]] | None = None,
    suspects: pl.DataFrame = NO_SUSPECTS,
    told: dict[str, float] | None = None,
) -> tuple[pl.DataFrame, pl.DataFrame]:
    filled = [{"unit_id": "u", "visit_id": str(n)} | v for n, v in enumerate(visits, 1)]
    register = make_frame("units", [{"unit_id": "u"} | u for u in units or [{"cap_herm_uf": 40.0, "cap_fan_uf": 7.5}]])
    labels = list((told or {}).items())
    noted = pl.DataFrame(labels, schema={"unit_id": pl.String, "told_cap_herm_uf": pl.Float64}, orient="row")
    register = register.join(noted, on="unit_id", how="left", maintain_order="left")
    fitted = make_parts([{"unit_id": "u", "part": "run_capacitor"} | p for p in parts or []])
    return capacitor_history(
        make_frame("visits", filled),
        fitted,
        register,
        model_ratings(register),
        suspects,
        capacitor_facts(),
        frequency_hz=60,
    )


def section(frame: pl.DataFrame, name: str) -> pl.DataFrame:
    return frame.filter(pl.col("section") == name)


@pytest.mark.parametrize(
    ("amps", "volts", "hertz", "expected_uf"),
    [
        # Physics, C = I / (2 pi f V); the trade page "Replace Blower Run Capacitor" gives 2652 I/V at 60 Hz.
        (1.0, 1.0, 60, 2652.58),
        (1.0, 1.0, 50, 3183.10),
        (3.5, 330.0, 60, 28.13),
        (6.0, 370.0, 60, 43.01),
        (1.2, 370.0, 60, 8.60),
    ],
)
def test_capacitance_under_load_follows_the_reactance_formula(
    amps: float, volts: float, hertz: float, expected_uf: float
) -> None:
    got = pl.select(under_load_uf(pl.lit(amps), pl.lit(volts), hertz)).item()
    assert got == pytest.approx(expected_uf, abs=0.006)


def test_no_volts_is_no_capacitance() -> None:
    assert pl.select(under_load_uf(pl.lit(1.0), pl.lit(0.0), 60)).item() is None


@pytest.mark.parametrize(
    ("measured", "rated", "drift", "out"),
    [
        (34.6, 40.0, -13.5, True),
        (4.6, 7.5, -38.67, True),
        (7.05, 7.5, -6.0, False),  # exactly on the line is inside
        (7.04, 7.5, -6.13, True),
        (42.4, 40.0, 6.0, False),
        (0.0, 40.0, -100.0, True),  # open
        (28.13, 35.0, -19.63, True),
    ],
)
def test_drift_and_tolerance_arithmetic(measured: float, rated: float, drift: float, out: bool) -> None:
    frame = pl.DataFrame({"m": [measured], "r": [rated]}).with_columns(d=drift_pct(pl.col("m"), pl.col("r")))
    assert frame.get_column("d").item() == pytest.approx(drift, abs=0.005)
    assert frame.select(is_out_of_tolerance(pl.col("d"), pl.lit(6.0))).item() is out


@pytest.mark.parametrize(("measured", "rated"), [(None, 40.0), (38.0, None), (38.0, 0.0)])
def test_drift_without_a_basis_is_null(measured: float | None, rated: float | None) -> None:
    frame = pl.DataFrame({"m": [measured], "r": [rated]}, schema={"m": pl.Float64, "r": pl.Float64})
    assert frame.select(drift_pct(pl.col("m"), pl.col("r"))).item() is None


def test_the_reading_on_a_replacement_visit_belongs_to_the_old_part() -> None:
    series, readings = history(
        [
            {"visit_date": day(2020), "herm_uf": 38.0},
            {"visit_date": day(2021), "herm_uf": 34.6},
            {"visit_date": day(2022), "herm_uf": 39.8},
        ],
        [{"visit_id": "2", "visit_date": day(2021), "cap_herm_uf": 40.0}],
    )
    herm = section(readings, "herm")
    assert herm.get_column("series").to_list() == [1, 1, 2]
    assert herm.get_column("at_replacement").to_list() == [False, True, False]
    assert herm.get_column("suspect").null_count() == 3
    spans = section(series, "herm").select("started_on", "start_kind", "ended_on", "end_kind").rows()
    assert spans == [(None, "unknown", day(2021), "fitted"), (day(2021), "fitted", None, None)]


def test_an_in_tolerance_reading_on_a_replacement_visit_is_suspect_unless_the_new_part_was_read_too() -> None:
    visits = [{"visit_date": day(2021), "herm_uf": 39.9}]
    part = [{"visit_id": "1", "visit_date": day(2021), "cap_herm_uf": 40.0}]
    _, alone = history(visits, part)
    assert section(alone, "herm").get_column("suspect").to_list() == ["may_be_new_part"]
    _, beside = history([visits[0] | {"herm_uf_after": 40.3}], part)
    assert section(beside, "herm").select("series", "is_new_part", "suspect").rows() == [
        (1, False, None),
        (2, True, None),
    ]


def test_a_part_naming_no_rating_closes_herm_and_fan_and_keeps_the_ratings() -> None:
    series, _ = history(
        [{"visit_date": day(2021), "herm_uf": 34.0, "fan_uf": 6.0, "blower_uf": 9.9}],
        [{"visit_id": "1", "visit_date": day(2021)}],
        [{"cap_herm_uf": 40.0, "cap_fan_uf": 7.5, "cap_blower_uf": 10.0}],
    )
    counts = dict(series.group_by("section").agg(pl.len(), pl.col("rated_uf").last()).select("section", "len").rows())
    assert counts == {"herm": 2, "fan": 2, "blower": 1}
    assert section(series, "herm").get_column("rated_uf").to_list() == [40.0, 40.0]


def test_two_singles_for_a_dual_are_two_series_and_a_single_beside_an_old_dual_closes_its_own_section() -> None:
    visits = [{"visit_date": day(2020), "herm_uf": 33.0, "fan_uf": 7.4}, {"visit_date": day(2021), "fan_uf": 6.0}]
    both, _ = history(
        visits,
        [
            {"visit_id": "1", "visit_date": day(2020), "cap_herm_uf": 40.0},
            {"visit_id": "1", "visit_date": day(2020), "cap_fan_uf": 7.5},
        ],
    )
    assert both.group_by("section").len().sort("section").rows() == [("fan", 2), ("herm", 2)]
    single, _ = history(visits, [{"visit_id": "1", "visit_date": day(2020), "cap_herm_uf": 40.0}])
    assert single.group_by("section").len().sort("section").rows() == [("fan", 1), ("herm", 2)]


def test_the_rating_in_force_is_the_fitted_parts() -> None:
    _, readings = history(
        [{"visit_date": day(2020), "herm_uf": 33.0}, {"visit_date": day(2021), "herm_uf": 44.0}],
        [{"visit_id": "1", "visit_date": day(2020), "cap_herm_uf": 45.0, "cap_tolerance_pct": 5.0}],
    )
    got = section(readings, "herm").select("rated_uf", "rated_source", "tolerance_pct").rows()
    assert got == [(40.0, "register", 6.0), (45.0, "part", 5.0)]


def test_bench_wins_over_under_load_on_one_visit() -> None:
    _, readings = history([{"visit_date": day(2020), "herm_uf": 39.0, "herm_amps": 6.0, "herm_volts": 370.0}])
    assert section(readings, "herm").select("measured_uf", "method").rows() == [(39.0, "bench")]


@pytest.mark.parametrize(
    ("levels", "cause_on", "series", "suspect"),
    [
        ([34.0, 40.2, 39.9], None, [1, 2, 2], [None, None, None]),  # the next reading agrees
        ([34.0, 40.2, 33.9], None, [1, 1, 1], [None, "rise_without_replacement", None]),
        ([34.0, 40.2], None, [1, 1], [None, "rise_without_replacement"]),  # nothing to agree with yet
        ([34.0, 40.2], 2, [1, 2], [None, None]),  # the cause says so
        ([34.0, 40.2], 1, [1, 2], [None, None]),  # fitted on the earlier visit, no part row
        ([38.0, 40.3], None, [1, 1], [None, None]),  # a rise inside tolerance is noise
    ],
)
def test_a_rise_without_a_part_is_inferred_or_suspect(
    levels: list[float], cause_on: int | None, series: list[int], suspect: list[str | None]
) -> None:
    visits: list[dict[str, Any]] = [{"visit_date": day(2020 + n), "herm_uf": uf} for n, uf in enumerate(levels)]
    if cause_on is not None:
        visits[cause_on - 1] |= {"cause": "run_capacitor", "visit_type": "repair"}
    _, readings = history(visits)
    herm = section(readings, "herm")
    assert herm.get_column("series").to_list() == series
    assert herm.get_column("suspect").to_list() == suspect


def test_an_inferred_part_is_known_of_from_the_reading_that_agrees() -> None:
    series, _ = history([{"visit_date": day(2020 + n), "herm_uf": uf} for n, uf in enumerate([34.0, 40.2, 39.9])])
    got = section(series, "herm").select("started_on", "start_kind", "start_known_on").row(1)
    assert got == (day(2021), "inferred", day(2022))


def test_a_reading_held_suspect_by_the_checks_neither_starts_a_series_nor_hides_its_reason() -> None:
    suspects = pl.DataFrame(
        {"unit_id": ["u"], "visit_id": ["2"], "field": ["herm_uf"], "reason": ["copied_rating"]},
        schema=NO_SUSPECTS.schema,
    )
    _, readings = history(
        [{"visit_date": day(2020 + n), "herm_uf": uf} for n, uf in enumerate([34.0, 40.0, 39.5])], suspects=suspects
    )
    assert section(readings, "herm").get_column("suspect").to_list()[1] == "copied_rating"
    assert section(readings, "herm").get_column("series").to_list()[:2] == [1, 1]


@pytest.mark.parametrize(
    ("units", "expected"),
    [
        ([{"cap_herm_uf": 45.0}], (45.0, "register")),
        ([{"model": "M1"}, {"unit_id": "x", "model": "M1", "cap_herm_uf": 50.0}], (50.0, "model")),
        ([{}], (45.0, "nearest_size")),
        ([{"cap_herm_uf": 0.0}], (None, None)),  # `none`: there is no such section, so there is no basis
    ],
)
def test_a_rating_nobody_typed_is_found_in_order_of_trust(
    units: list[dict[str, Any]], expected: tuple[float | None, str | None]
) -> None:
    _, readings = history([{"visit_date": day(2020), "herm_uf": 43.9}], units=units)
    assert section(readings, "herm").select("rated_uf", "rated_source").row(0) == expected


OTHERS = [{"unit_id": name, "model": "M1", "cap_herm_uf": uf} for name, uf in (("x", 50.0), ("y", 50.0), ("z", 55.0))]
FITTED = [{"visit_id": "2", "visit_date": day(2021), "cap_herm_uf": 40.0}]


@pytest.mark.parametrize(
    ("unit", "others", "parts", "told", "expected"),
    [
        # each link where those before it are lacking, and where all that follow say otherwise
        ({"cap_herm_uf": 45.0, "model": "M1"}, OTHERS, FITTED, {"u": 35.0}, ["register 45", "register 45", "part 40"]),
        ({"model": "M1"}, OTHERS, FITTED, {"u": 35.0}, ["part 40", "part 40", "part 40"]),
        ({"model": "M1"}, OTHERS, [], {"u": 35.0}, ["notes 35", "notes 35", "notes 35"]),
        ({"model": "M1"}, OTHERS, [], {}, ["model 50", "model 50", "model 50"]),
        ({"model": "M2"}, OTHERS, [], {}, ["nearest_size 45", "nearest_size 45", "nearest_size 45"]),
        # the model's label where only notes of its other units tell it; two against two: the smaller
        ({"model": "M1"}, [{"unit_id": "x", "model": "M1"}], [], {"x": 55.0}, ["model 55"] * 3),
        ({"model": "M1"}, [*OTHERS, {"unit_id": "w", "model": "M1", "cap_herm_uf": 55.0}], [], {}, ["model 50"] * 3),
        # no part gains capacitance: one that reads above its model's label has another
        ({"model": "M1"}, [{"unit_id": "x", "model": "M1", "cap_herm_uf": 40.0}], [], {}, ["nearest_size 45"] * 3),
        # a model that only this unit has tells nothing
        ({"model": "M1"}, [], [], {}, ["nearest_size 45"] * 3),
    ],
)
def test_ratings_follow_the_chain_and_say_where_from(
    unit: dict[str, Any],
    others: list[dict[str, Any]],
    parts: list[dict[str, Any]],
    told: dict[str, float],
    expected: list[str],
) -> None:
    visits = [{"visit_date": day(2020 + n), "herm_uf": uf} for n, uf in enumerate([43.9, 43.4, 43.2])]
    _, readings = history(visits, parts=parts, units=[unit, *others], told=told)
    herm = section(readings, "herm").sort("visit_date")
    assert [f"{row['rated_source']} {row['rated_uf']:g}" for row in herm.iter_rows(named=True)] == expected


def test_a_rated_section_without_a_reading_still_has_a_series() -> None:
    series, readings = history([{"visit_date": day(2020)}], units=[{"cap_herm_uf": 40.0, "installed_on": day(2015)}])
    assert readings.is_empty()
    assert series.select("section", "series", "started_on", "start_kind").rows() == [
        ("herm", 1, day(2015), "installed")
    ]


def test_an_installation_after_the_first_visit_dates_no_part() -> None:
    series, _ = history([{"visit_date": day(2020)}], units=[{"cap_herm_uf": 40.0, "installed_on": day(2022)}])
    assert series.select("started_on", "start_kind").row(0) == (None, "unknown")


def test_forty_readings_in_a_day_stay_forty_readings() -> None:
    _, readings = history([{"visit_date": day(2020), "visit_id": f"{n:02}", "herm_uf": 39.0} for n in range(40)])
    assert readings.height == 40
    assert readings.get_column("suspect").null_count() == 40


@given(
    levels=st.lists(st.none() | st.floats(0, 80), min_size=1, max_size=8),
    replaced=st.sets(st.integers(1, 8)),
    seed=st.randoms(use_true_random=False),
)
def test_row_order_is_irrelevant_and_every_reading_is_kept(
    levels: list[float | None], replaced: set[int], seed: Any
) -> None:
    visits = [{"visit_date": day(2010 + n), "visit_id": str(n), "herm_uf": uf} for n, uf in enumerate(levels, 1)]
    parts = [
        {"visit_id": str(n), "visit_date": day(2010 + n), "cap_herm_uf": 40.0} for n in replaced if n <= len(levels)
    ]
    series, readings = history(visits, parts)
    shuffled = list(visits)
    seed.shuffle(shuffled)
    again_series, again = history(shuffled, parts)
    assert readings.equals(again)
    assert series.equals(again_series)
    assert readings.height == sum(uf is not None for uf in levels)
    assert readings.schema == pl.Schema(CAPACITOR_READINGS_SCHEMA)
    assert series.schema == pl.Schema(CAPACITOR_SERIES_SCHEMA)
    known = set(series.select("section", "series").rows())
    assert set(readings.select("section", "series").rows()) <= known
