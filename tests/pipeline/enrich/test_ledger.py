"""The ledger's leak rates against worked cases, and what does not count as a leak."""

from __future__ import annotations

import datetime as dt
from typing import Any

import polars as pl
import pytest

from pipeline.config import Charge
from pipeline.enrich.ledger import CHECK_THE_RULE, NO_THRESHOLD, refrigerant_ledger, refrigerant_use
from tests.builders import make_frame, make_parts

START = dt.date(2023, 1, 1)


def ledger(
    additions: list[tuple[int, float]],
    charge_lb: float | None,
    *,
    parts: list[dict[str, Any]] | None = None,
    **more: Any,
) -> pl.DataFrame:
    """Return the ledger of one unit with pounds added on days after the start."""
    visits = [
        {
            "unit_id": "U1",
            "visit_id": f"V{k}",
            "visit_date": START + dt.timedelta(days=d),
            "refrigerant_added_oz": lb * 16,
        }
        | more
        for k, (d, lb) in enumerate(additions)
    ]
    charge = None if charge_lb is None else charge_lb * 16
    units = make_frame("units", [{"unit_id": "U1", "refrigerant": "R410A", "factory_charge_oz": charge}])
    return refrigerant_ledger(make_frame("visits", visits), make_parts(parts or []), units)


OPENED = {"unit_id": "U1", "visit_id": "V0", "visit_date": START, "part": "evaporator_coil"}


@pytest.mark.parametrize(
    ("additions", "charge_lb", "clock", "annualized", "rolling"),
    [  # cases A to E worked from the formulas of an EPA 608 study guide; a recharge after repair starts the clock
        ([(0, 50.0), (120, 3.0)], 60.0, [OPENED], 15.21, 5.00),  # A: 3/60/(120/365)
        ([(0, 50.0), (400, 3.0)], 60.0, [OPENED], 5.00, 5.00),  # B: capped at 365 days
        ([(0, 2.5), (120, 3.0)], 60.0, [], 15.21, 9.17),  # C: 2.5, then 3.0 within 365 days
        ([(0, 1.0)], 8.0, [], 12.50, 12.50),  # D: no addition before, 365 days
        ([(0, 50.0), (180, 10.0)], 100.0, [OPENED], 20.28, 10.00),  # E
    ],
)
def test_both_published_leak_rates(additions, charge_lb, clock, annualized, rolling) -> None:
    last = ledger(additions, charge_lb, parts=clock).row(-1, named=True)
    assert last["leak_rate_annualized_pct"] == pytest.approx(annualized, abs=0.005)
    assert last["leak_rate_rolling_pct"] == pytest.approx(rolling, abs=0.005)


@pytest.mark.parametrize("charge_lb", [None, 0.0])
def test_no_full_charge_no_rate(charge_lb: float | None) -> None:
    row = ledger([(0, 1.0)], charge_lb).row(0, named=True)
    assert (row["kind"], row["leak_rate_annualized_pct"], row["leak_rate_rolling_pct"]) == ("top_up", None, None)
    assert row["federal_threshold"] is None


def test_several_additions_on_one_day_are_one() -> None:
    found = ledger([(0, 1.0), (0, 0.5)], 8.0)
    assert found["added_oz"].to_list() == [24.0]
    assert found["leak_rate_rolling_pct"].to_list() == [pytest.approx(18.75)]


def test_a_recharge_after_opening_the_circuit_is_no_leak_but_sets_the_clock() -> None:
    found = ledger([(0, 7.0), (100, 1.0)], 8.0, parts=[OPENED])
    assert found["kind"].to_list() == ["recharge", "top_up"]
    assert found["leak_rate_annualized_pct"].to_list() == [None, pytest.approx(100 / 8 / (100 / 365))]
    assert found["leak_rate_rolling_pct"].to_list() == [None, pytest.approx(12.5)]


def test_install_trim_small_trims_and_recoveries_are_named_and_ignored() -> None:
    visits = make_frame(
        "visits",
        [
            {"unit_id": "U1", "visit_id": "V1", "visit_date": START, "visit_type": "install",
             "refrigerant_added_oz": 20.0},
            {"unit_id": "U1", "visit_id": "V2", "visit_date": dt.date(2023, 6, 1), "refrigerant_added_oz": 2.0},
            {"unit_id": "U1", "visit_id": "V3", "visit_date": dt.date(2023, 7, 1), "refrigerant_recovered_oz": 9.0},
            {
                "unit_id": "U1", "visit_id": "V4", "visit_date": dt.date(2023, 8, 1), "cause": "compressor",
                "refrigerant_added_oz": 96.0, "refrigerant_recovered_oz": 80.0,
            },
            {"unit_id": "U1", "visit_id": "V5", "visit_date": dt.date(2023, 9, 1), "herm_uf": 40.0},
        ],
    )  # fmt: skip
    units = make_frame("units", [{"unit_id": "U1", "refrigerant": "R-22", "factory_charge_oz": 96.0}])
    found = refrigerant_ledger(visits, make_parts([]), units)
    assert found["kind"].to_list() == ["install", "trim", "recovery", "recharge"]
    assert found["leak_rate_rolling_pct"].null_count() == 4
    no_trim = refrigerant_ledger(visits, make_parts([]), units, settings=Charge(trim_oz=0.0))
    assert no_trim["kind"].to_list()[1] == "top_up"


def test_the_rule_is_named_only_for_charges_that_large() -> None:
    assert ledger([(0, 1.0)], 8.0)["federal_threshold"].item() == NO_THRESHOLD
    assert ledger([(0, 1.0)], 15.0)["federal_threshold"].item() == CHECK_THE_RULE


def test_the_use_log_balances_with_the_ledger() -> None:
    found = ledger([(0, 1.0), (10, 0.5), (200, 2.0)], 8.0)
    use = refrigerant_use(found)
    assert use["refrigerant"].to_list() == ["R-410A", "R-410A"]
    assert use["added_oz"].to_list() == [24.0, 32.0]
    assert use["visits"].to_list() == [2, 1]
    assert use["net_oz"].sum() == found["net_oz"].sum()
