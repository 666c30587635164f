"""The simulated shop has what a real one has, in believable shares, and is the same every time."""

from __future__ import annotations

import datetime as dt
import math
import re

import polars as pl
import pytest

from pipeline.fields import registry
from sample_exports.generator import simulate
from sample_exports.generator.simulate import AS_OF

Tables = dict[str, pl.DataFrame]


def test_tables_hold_known_fields_and_words(shop: Tables) -> None:
    for name in ("visits", "units", "sites", "parts", "recommendations"):
        fields = registry()[name].fields
        frame = shop[name]
        assert set(frame.columns) <= set(fields)
        for column in frame.columns:
            allowed = fields[column].allowed
            if allowed and fields[column].kind == "word":
                assert set(frame[column].drop_nulls().unique()) <= set(allowed), (name, column)


def test_numbers_lie_in_the_registry_ranges(shop: Tables) -> None:
    for name in ("visits", "units", "parts"):
        for column, field in registry()[name].fields.items():
            if column in shop[name].columns and field.kind == "number" and field.low is not None:
                values = shop[name][column].drop_nulls()
                assert len(values) == 0 or (values.min() >= field.low and values.max() <= field.high), (name, column)  # type: ignore[operator]


def test_keys_are_unique_and_references_hold(shop: Tables) -> None:
    assert not shop["visits"].select("visit_id", "unit_id").is_duplicated().any()
    assert not shop["units"]["unit_id"].is_duplicated().any()
    assert not shop["sites"]["site_id"].is_duplicated().any()
    assert not shop["recommendations"].select("visit_id", "unit_id", "item").is_duplicated().any()
    assert shop["visits"].join(shop["units"], on="unit_id", how="anti").is_empty()
    assert shop["units"].join(shop["sites"], on="site_id", how="anti").is_empty()
    for name in ("parts", "recommendations"):
        assert shop[name].join(shop["visits"], on=["visit_id", "unit_id"], how="anti").is_empty()


def test_the_size_asked_for(shop: Tables) -> None:
    assert len(shop["units"]) == 420
    years = shop["visits"]["visit_date"].dt.year()
    assert years.unique().sort().to_list() == list(range(2020, 2027))
    assert shop["visits"]["visit_date"].max() <= AS_OF
    per_unit_year = len(shop["visits"]) / shop["truth_units"].group_by("cutoff").len()["len"].sum()
    assert 0.9 < per_unit_year < 1.5


@pytest.fixture(scope="module")
def fleet() -> Tables:
    """Return a fleet large enough for rates; one season of 400 units is mostly chance."""
    return simulate(3000, 5, seed=7)


def test_four_to_six_in_a_hundred_units_fail_in_a_season(fleet: Tables) -> None:
    truth = fleet["truth_units"].filter(pl.col("cutoff") < AS_OF)
    assert 0.035 < truth["failed"].mean() < 0.065  # type: ignore[operator]


@pytest.mark.parametrize(
    ("drift", "failure"),
    [("linear", "proportional"), ("gamma", "late"), ("two_phase", "additive"), ("accelerating", "late")],
)
def test_true_odds_are_the_odds(drift: str, failure: str) -> None:
    """What failed is as much as the true probabilities say: mean p against the count, four binomial standard errors.

    The shop's own tune-ups after the cutoff take some failures away, so the last day before the season counts.
    """
    truth = simulate(1200, 4, seed=3, drift_law=drift, failure_law=failure)["truth_units"]  # type: ignore[arg-type]
    truth = truth.filter(pl.col("cutoff") < AS_OF)
    expected = truth["p_failure"].sum()
    spread = math.sqrt((truth["p_failure"] * (1 - truth["p_failure"])).sum())
    assert abs(truth["failed"].sum() - expected) < 4 * spread + 0.12 * expected


def test_weak_capacitors_fail_more(fleet: Tables) -> None:
    herm = (
        fleet["truth_sections"].filter(pl.col("section") == "herm").join(fleet["truth_units"], on=["unit_id", "cutoff"])
    )
    weak, sound = herm.filter(pl.col("drift_pct") < -15), herm.filter(pl.col("drift_pct") > -6)
    assert weak["p_failure"].mean() > 4 * sound["p_failure"].mean()  # type: ignore[operator]


def test_the_situations_named_in_the_contract_occur(shop: Tables) -> None:
    visits, units, parts, advice = shop["visits"], shop["units"], shop["parts"], shop["recommendations"]
    assert set(visits["visit_type"]) == set(registry()["visits"].fields["visit_type"].allowed)
    assert set(units["refrigerant"].drop_nulls()) == {"R-22", "R-410A", "R-407C", "R-32", "R-454B"}
    assert set(units["metering"].drop_nulls()) == {"fixed_orifice", "txv", "eev"}
    assert {"split_heat_pump", "mini_split", "package_ac"} <= set(units["equipment"].drop_nulls())
    assert set(parts["claim_status"].drop_nulls()) == {"none", "to_file", "filed", "credited", "denied"}
    assert set(advice["decision"]) == {"approved", "declined", "later", "waiting_for_part"}
    assert units["retired_on"].count() >= 8
    assert shop["sites"]["agreement"].value_counts()["count"].min() > 50  # type: ignore[operator]
    capacitors = parts.filter(pl.col("part") == "run_capacitor")
    herm, fan = pl.col("cap_herm_uf").is_not_null(), pl.col("cap_fan_uf").is_not_null()
    assert capacitors.filter(herm & fan).height > 100  # dual for dual
    singles = capacitors.filter(herm ^ fan).group_by("visit_id", "unit_id").len()
    assert singles.filter(pl.col("len") == 2).height > 5  # two singles in place of a dual
    assert singles.filter(pl.col("len") == 1).height > 5  # one beside the old dual
    assert capacitors.filter(~herm & ~fan & pl.col("cap_blower_uf").is_null()).height > 3  # names no section
    assert visits["herm_amps"].count() > 80  # under load
    late = units.join(shop["sites"], on="site_id").filter(
        pl.col("installed_on").is_null(), pl.col("owner_since").is_not_null()
    )
    assert late.height > 15  # a house changed hands
    gaps = visits.sort("unit_id", "visit_date").select(pl.col("visit_date").diff().over("unit_id").dt.total_days())
    assert gaps.filter(pl.col("visit_date") > 900).height > 5


def test_one_technician_copies_ratings(shop: Tables) -> None:
    labelled = shop["visits"].join(shop["units"].select("unit_id", "cap_herm_uf"), on="unit_id")
    exact = labelled.filter(pl.col("cap_herm_uf").is_not_null(), pl.col("herm_uf").is_not_null()).with_columns(
        same=pl.col("herm_uf") == pl.col("cap_herm_uf").replace("none", None).cast(pl.Float64)
    )
    share = exact.group_by("technician").agg(pl.col("same").mean()).sort("same", descending=True)
    assert share["same"][0] > 0.2
    assert share["same"][1] < 0.1


def test_nobody_real_is_named(shop: Tables) -> None:
    assert all(re.fullmatch(r"\(99\d\) 555-01\d\d", phone) for phone in shop["sites"]["phone"])
    assert all(re.fullmatch(r"002\d\d", code) for code in shop["sites"]["postal_code"])


def test_the_same_seed_gives_the_same_shop() -> None:
    one, again, other = simulate(60, 2, seed=5), simulate(60, 2, seed=5), simulate(60, 2, seed=6)
    assert all(frame.equals(again[name]) for name, frame in one.items())
    assert not one["visits"].equals(other["visits"])


def test_another_day_moves_the_coming_season() -> None:
    truth = simulate(200, 2, as_of=dt.date(2025, 11, 20))["truth_units"]
    assert truth["cutoff"].max() == dt.date(2025, 11, 20)
    assert truth.filter(pl.col("cutoff") == dt.date(2025, 11, 20))["p_failure"].mean() > 0.01  # type: ignore[operator]
