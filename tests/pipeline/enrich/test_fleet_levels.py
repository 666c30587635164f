"""What the fleet teaches: usual readings and how many visits show a fault, whatever hides within the band."""

from __future__ import annotations

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipeline.enrich import fleet_levels as module
from pipeline.enrich.charge import charge_readings
from pipeline.enrich.expected import LEVELS_SCHEMA, class_levels
from pipeline.enrich.fault_model import fault_model
from pipeline.enrich.fleet_levels import fleet_levels, share_of
from tests.simulators.charge_faults import FIRST, SECOND, Simulated, World, simulate

NOTHING_KNOWN = pl.DataFrame(schema=dict(LEVELS_SCHEMA))


def readings(share: float, world: World = FIRST, per_fault: int = 24) -> tuple[pl.DataFrame, Simulated]:
    """Return judged readings of a fleet of single visits, ``share`` of them faulty, and what they were made from."""
    made = simulate(per_fault, seed=8, earlier=0, world=world)
    sick = made.truth.filter(pl.col("fault") != "no_fault")
    well = made.truth.filter(pl.col("fault") == "no_fault")
    kept = pl.concat([well, sick.sample(round(well.height * share / (1.0 - share)), seed=1)])
    visits = made.visits.join(kept.select("unit_id"), on="unit_id", how="semi")
    return charge_readings(visits, made.units, levels=NOTHING_KNOWN), made


@pytest.mark.parametrize("world", [FIRST, SECOND], ids=["first world", "second world"])
@pytest.mark.parametrize("share", [0.1, 0.25])
def test_the_share_of_faulty_visits_is_learned(share: float, world: World) -> None:
    rows, _ = readings(share, world, 24 if world is FIRST else 12)
    model = fault_model()
    counts_as, usual = model.answer["prior_counts_as_visits"], 1.0 - model.prior["no_fault"]
    expected = (counts_as * usual + rows.height * share) / (counts_as + rows.height)
    assert share_of(fleet_levels(rows)) == pytest.approx(expected, abs=0.06)


def test_no_fleet_is_thought_worse_than_the_shipped_odds_or_faultless() -> None:
    model = fault_model()
    all_well = simulate(6, seed=2, earlier=1, faults=False)
    rows = charge_readings(all_well.visits, all_well.units, levels=NOTHING_KNOWN)
    found = share_of(fleet_levels(rows))
    assert found is not None
    assert model.answer["least_faulty_share"] <= found <= 0.25
    mostly_ill = readings(0.5)[0].join(
        readings(0.5)[1].truth.filter(pl.col("fault") != "no_fault").select("unit_id"), on="unit_id", how="semi"
    )
    worst = share_of(fleet_levels(mostly_ill))
    assert worst is None or worst <= 1.0 - model.prior["no_fault"] + 1e-9


def test_faults_hidden_within_the_band_do_not_widen_what_is_usual() -> None:
    rows, made = readings(0.5)
    sick = made.truth.filter(pl.col("fault") != "no_fault").select("visit_id")
    true = class_levels(rows.join(sick, on="visit_id", how="anti"))
    key = ["metering", "refrigerant", "feature"]

    def excess(levels: pl.DataFrame) -> float:
        both = levels.join(true, on=key, suffix="_true").filter(pl.col("feature").is_in(["t_cond", "t_evap", "dt_ea"]))
        ratio = both["between_sd_f"] ** 2 + both["visit_sd_f"] ** 2
        return float((ratio / (both["between_sd_f_true"] ** 2 + both["visit_sd_f_true"] ** 2)).mean()) - 1.0

    assert excess(class_levels(rows)) > 0.3
    assert excess(fleet_levels(rows)) < 0.6 * excess(class_levels(rows))


def test_the_order_of_rows_and_an_empty_fleet_change_nothing() -> None:
    rows, _ = readings(0.25, per_fault=8)
    assert_frame_equal(fleet_levels(rows.sample(fraction=1.0, shuffle=True, seed=3)), fleet_levels(rows))
    nothing = fleet_levels(rows.head(0))
    assert nothing.schema == pl.Schema(dict(LEVELS_SCHEMA))
    assert share_of(nothing) is None


def test_a_large_fleet_is_learned_from_a_part_that_does_not_depend_on_the_others(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rows, _ = readings(0.25)
    whole = fleet_levels(rows)
    monkeypatch.setattr(module, "MOST_VISITS", rows.height // 2)
    part = fleet_levels(rows)
    both = whole.join(part, on=["metering", "refrigerant", "feature"], suffix="_part")
    common = both.filter(pl.col("feature").is_in(["t_evap", "t_cond", "t_sc"]))
    assert (common["level_f"] - common["level_f_part"]).abs().max() < 1.0
    assert share_of(part) == pytest.approx(share_of(whole), abs=0.06)
