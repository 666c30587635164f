"""What a stop is likely to use, by hand."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.plan.parts_demand import NEEDS_SCHEMA, parts_demand

FINDINGS = {"unit_id": pl.String, "finding": pl.String, "decision": pl.String}
SECTIONS = {
    "unit_id": pl.String,
    "section": pl.String,
    "rated_uf": pl.Float64,
    "volts": pl.Float64,
    "tolerance_pct": pl.Float64,
    "p_out_by_season_end": pl.Float64,
}


def needs(sections, units, findings=()):
    return parts_demand(
        pl.DataFrame(sections, schema=SECTIONS, orient="row"),
        pl.DataFrame(
            units, schema={"unit_id": pl.String, "p_failure": pl.Float64, "cause_shares": pl.String}, orient="row"
        ),
        pl.DataFrame(list(findings), schema=FINDINGS, orient="row"),
    )


def row(frame: pl.DataFrame, part: str, unit: str = "A", **wanted) -> dict:
    kept = frame.filter((pl.col("part") == part) & (pl.col("unit_id") == unit))
    for name, value in wanted.items():
        kept = kept.filter(pl.col(name) == value)
    return kept.row(0, named=True)


DUAL = [("A", "herm", 45.0, 370.0, 6.0, 0.2), ("A", "fan", 5.0, 370.0, 6.0, 0.5)]


def test_hermetic_and_fan_section_are_one_dual():
    found = row(needs(DUAL, [("A", 0.1, None)]), "run_capacitor")
    assert found["size"] == "45+5 uF 370 V"
    # 1 - 0.8 * 0.5
    assert found["p_stop"] == pytest.approx(0.6)


def test_the_blower_has_a_can_of_its_own_and_calls_are_shared_by_chance():
    sections = [*DUAL, ("A", "blower", 7.5, 440.0, 6.0, 0.05)]
    found = needs(sections, [("A", 0.1, '{"run_capacitor": 0.7}')]).filter(pl.col("part") == "run_capacitor")
    assert sorted(found["size"]) == ["45+5 uF 370 V", "7.5 uF 440 V"]
    # 0.1 * 0.7 in all, by weights 0.65 and 0.10
    assert found["p_call"].sum() == pytest.approx(0.07)
    assert row(found, "run_capacitor", first_uf=7.5)["p_call"] == pytest.approx(0.07 * 0.10 / 0.75)


def test_no_such_section_is_no_part_and_unknown_volts_take_the_higher():
    found = needs([("A", "herm", 40.0, None, None, 0.3), ("A", "fan", 0.0, None, None, None)], [("A", 0.1, "{}")])
    assert row(found, "run_capacitor")["size"] == "40 uF 440 V"


def test_what_stands_open_counts_with_what_the_customer_said():
    shares = '{"contactor": 0.2}'
    said = [("A", "pitted_contactor", None), ("B", "pitted_contactor", "declined"), ("C", "contactor", "approved")]
    found = needs([], [(unit, 0.1, shares) for unit in "ABCD"], said)
    # shipped guesses: open 0.5, declined 0.1, agreed 0.95; on top the chance of a call, 0.1 * 0.2 = 0.02
    by_hand = {"A": 0.5, "B": 0.1, "C": 0.95, "D": 0.0}
    for unit, chance in by_hand.items():
        assert row(found, "contactor", unit)["p_stop"] == pytest.approx(1 - (1 - chance) * 0.98)


def test_a_unit_nobody_read_is_spread_over_the_sizes_of_the_others():
    sections = [("A", "herm", 45.0, 440.0, 6.0, 0.1), ("B", "herm", 40.0, 440.0, 6.0, 0.1)]
    units = [(unit, 0.2, '{"run_capacitor": 0.5}') for unit in "ABC"]
    found = needs(sections, units).filter((pl.col("unit_id") == "C") & (pl.col("part") == "run_capacitor"))
    assert found["p_call"].to_list() == pytest.approx([0.05, 0.05])
    assert found["p_stop"].to_list() == [0.0, 0.0]


def test_nothing_known_is_an_empty_frame():
    found = needs([], [])
    assert found.schema == NEEDS_SCHEMA
    assert found.is_empty()
