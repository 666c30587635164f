"""Slow losses: hand cases that must come out one way, and a simulated fleet with known leak rates."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

import polars as pl
import pytest

from pipeline.enrich.leak_trend import CHARGE_TREND_SCHEMA, charge_trend
from pipeline.enrich.ledger import refrigerant_ledger
from tests.builders import make_frame, make_parts
from tests.simulators.leaks import Leaks, plain_fleet, sample_shop

AS_OF = dt.date(2025, 3, 1)


def trend(
    visits: list[dict[str, Any]], units: list[dict[str, Any]] | None = None, parts: list[dict[str, Any]] | None = None
) -> pl.DataFrame:
    """Return the trend of visits that carry their leak_loss_f beside the registered fields."""
    owned = make_frame("units", units or [{"unit_id": "U1", "refrigerant": "R-410A", "factory_charge_oz": 100.0}])
    fields = [
        {k: v for k, v in row.items() if k != "leak_loss_f"} | {"unit_id": row.get("unit_id", "U1")} for row in visits
    ]
    frame = make_frame("visits", fields)
    readings = frame.select("unit_id", "visit_id", "visit_date").with_columns(
        leak_loss_f=pl.Series([row.get("leak_loss_f") for row in visits], dtype=pl.Float64),
        deviation_sd_f=pl.lit(2.2),
        metering=pl.lit("fixed_orifice"),
        suspect=pl.lit(None, dtype=pl.String),
    )
    fitted = make_parts(parts or [])
    return charge_trend(readings, refrigerant_ledger(frame, fitted, owned), frame, fitted, owned, as_of=AS_OF)


def visit(year: int, loss_f: float | None = None, **more: Any) -> dict[str, Any]:
    return {"visit_id": f"V{year}", "visit_date": dt.date(year, 6, 1), "leak_loss_f": loss_f} | more


def test_steady_readings_speak_against_a_leak_and_a_steady_rise_for_one() -> None:
    steady = trend([visit(y, 0.5 * (-1) ** y) for y in range(2019, 2025)]).row(0, named=True)
    rising = trend([visit(y, 5.0 * (y - 2019)) for y in range(2019, 2025)]).row(0, named=True)
    assert steady["p_leaking"] < 0.15 < 0.8 < rising["p_leaking"]
    assert (steady["charge_loss_suspected"], rising["charge_loss_suspected"]) == (False, True)
    # 5 degF of superheat a year at 0.6 degF per percent is 8.3 % a year
    assert rising["leak_rate_pct_per_year"] == pytest.approx(8.3, rel=0.25)
    assert rising["leak_rate_low_pct"] <= 8.3 <= rising["leak_rate_high_pct"]


def test_yearly_top_ups_are_a_leak_at_their_rate_and_each_adds_to_it() -> None:
    one = trend([visit(2023), visit(2024, refrigerant_added_oz=12.0)]).row(0, named=True)
    four = trend([visit(2020)] + [visit(y, refrigerant_added_oz=12.0) for y in range(2021, 2025)]).row(0, named=True)
    assert one["p_leaking"] < four["p_leaking"]
    assert four["charge_loss_suspected"] is True
    assert four["leak_rate_pct_per_year"] == pytest.approx(12.0, rel=0.25)  # 12 of 100 oz a year
    assert four["refrigerant_added_oz_12_months"] == 12.0
    assert (four["top_ups"], four["last_top_up_on"]) == (4, dt.date(2024, 6, 1))


def test_the_twelve_months_end_on_as_of() -> None:
    found = trend([visit(2024, refrigerant_added_oz=12.0), visit(2023, refrigerant_added_oz=40.0)])
    assert found["refrigerant_added_oz_12_months"].item() == 12.0
    assert trend([visit(2025, refrigerant_added_oz=12.0)])["refrigerant_added_oz_12_months"].item() == 0.0


def test_what_came_before_the_circuit_was_opened_no_longer_counts() -> None:
    leaking = [visit(y, refrigerant_added_oz=15.0) for y in range(2019, 2023)]
    after = [visit(2024, 0.0)]
    coil = [{"unit_id": "U1", "visit_id": "V2022", "visit_date": dt.date(2022, 6, 1), "part": "evaporator_coil"}]
    assert trend(leaking + after, parts=coil)["p_leaking"].item() < 0.25 < trend(leaking + after)["p_leaking"].item()


def test_a_leak_search_moves_the_odds_both_ways() -> None:
    p = {
        word: trend([visit(2024, 2.0, leak_found=word)])["p_leaking"].item()
        for word in ("yes", "suspected", "no", None)
    }
    assert p["no"] < p[None] < p["suspected"] < p["yes"]


def test_nothing_known_is_null_and_says_so() -> None:
    row = trend([visit(2024)]).row(0, named=True)
    assert (row["p_leaking"], row["leak_rate_pct_per_year"], row["charge_loss_suspected"]) == (None, None, None)
    assert row["because"] == "no testable charge reading, top-up or leak search"
    assert row["refrigerant_added_oz_12_months"] == 0.0


def test_every_unit_has_one_row_of_the_declared_schema_in_any_order() -> None:
    units = [{"unit_id": f"U{k}", "refrigerant": "R-22", "nominal_tons": 3.0} for k in (3, 1, 2)]
    visits = [
        visit(y, float(k * (y - 2020)), unit_id=f"U{k}", visit_id=f"V{k}{y}") for y in range(2020, 2025) for k in (1, 3)
    ]
    found = trend(visits, units)
    assert found["unit_id"].to_list() == ["U1", "U2", "U3"]
    assert dict(found.schema) == dict(CHARGE_TREND_SCHEMA)
    assert trend(visits[::-1], units[::-1]).equals(found)


def test_what_speaks_for_a_leak_is_said_in_words() -> None:
    row = trend(
        [
            visit(2021, 2.0),
            visit(2022, 6.0, refrigerant_added_oz=12.0, observations="oil_stain"),
            visit(2023, 4.4, refrigerant_added_oz=12.0, leak_found="suspected"),
        ]
    ).row(0, named=True)
    assert row["because"] == (
        "2 top-ups, the last on 2023-06-01; leak suspected on 2023-06-01; oil stain seen on 2022-06-01; "
        "3 charge readings, the last 4.4 degF towards low charge"
    )
    alone = trend([visit(2024, -1.2)])["because"].item()
    assert alone == "1 charge reading, the last 1.2 degF towards full charge"


def test_gauges_put_on_and_nothing_added_speaks_against_a_fast_leak() -> None:
    seen = [visit(y, 1.0) for y in range(2018, 2025)]
    once = trend([visit(2018, refrigerant_added_oz=15.0), visit(2024, 1.0)])["p_leaking"].item()
    often = trend([visit(2018, refrigerant_added_oz=15.0), *seen[1:]])["p_leaking"].item()
    assert often < once


def test_the_share_that_leaks_is_learned_from_the_fleet() -> None:
    """A reading that says little is told higher odds where many other systems plainly leak."""
    unclear = [visit(2024, 3.0, unit_id="A", visit_id="A1")]
    others = [f"B{k}" for k in range(300)]
    steady = [visit(y, 0.0, unit_id=u, visit_id=f"{u}{y}") for u in others for y in range(2019, 2025)]
    leaky = [
        visit(y, 5.0, unit_id=u, visit_id=f"{u}{y}", refrigerant_added_oz=12.0)
        for u in others
        for y in range(2019, 2025)
    ]
    owned = [{"unit_id": u, "refrigerant": "R-22", "factory_charge_oz": 100.0} for u in ("A", *others)]
    told = [trend(unclear + rest, owned).filter(unit_id="A")["p_leaking"].item() for rest in (steady, leaky)]
    assert told[0] < 0.15 < told[1]


COARSE = (0.0, 0.2, 0.8, 1.01)


@pytest.mark.parametrize(("fleet", "slack"), [(plain_fleet, 0.15), (sample_shop, 0.06)], ids=["plain", "sample"])
def test_told_odds_hold_on_two_fleets_of_different_laws(fleet: Callable[[int], Leaks], slack: float) -> None:
    leaks = fleet(3)
    assert leaks.area() > 0.88
    for row in leaks.table(COARSE).iter_rows(named=True):
        error = (max(row["told"] * (1 - row["told"]), 0.01) / row["units"]) ** 0.5
        assert abs(row["leaking"] - row["told"]) < slack + 2 * error, row


@pytest.mark.parametrize("fleet", [plain_fleet, sample_shop], ids=["plain", "sample"])
def test_intervals_hold_the_rate_of_tight_and_of_leaking_systems(fleet: Callable[[int], Leaks]) -> None:
    leaks = fleet(5)
    held = (leaks.low <= leaks.rate) & (leaks.rate <= leaks.high)
    for group in (leaks.leaking, ~leaks.leaking, leaks.leaking & (leaks.told < 0.1)):
        # 90 %, less two standard errors of that share
        assert held[group].mean() >= 0.9 - 2 * (0.09 / max(group.sum(), 1)) ** 0.5


def test_a_leak_that_is_not_sure_has_a_low_end_of_nothing_and_a_high_end_of_what_it_could_be() -> None:
    calm = trend([visit(y, 0.2) for y in range(2021, 2025)]).row(0, named=True)
    assert calm["p_leaking"] < 0.05
    assert calm["leak_rate_low_pct"] == 0.0
    assert calm["leak_rate_high_pct"] > calm["leak_rate_pct_per_year"]


def test_suspected_leaks_are_leaks_and_fast_ones_are_suspected() -> None:
    leaks = plain_fleet(3)
    suspected = leaks.told >= 0.5
    assert leaks.leaking[suspected].mean() > 0.75
    assert suspected[leaks.rate > 5.0].mean() > 0.75
    assert ((leaks.low <= leaks.rate) & (leaks.rate <= leaks.high))[leaks.rate > 4.0].mean() > 0.8
