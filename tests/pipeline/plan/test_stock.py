"""The stock list: weeks, trucks and orders by hand, and its promises against simulation."""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl
import pytest

from pipeline.config import Stock
from pipeline.plan.parts_demand import NEEDS_SCHEMA
from pipeline.plan.prices import PAID_SCHEMA, part_prices
from pipeline.plan.stock import plan_stock
from pipeline.plan.stock_file import nothing_on_hand, read_stock
from pipeline.plan.stock_rows import STOCK_LIST_SCHEMA
from pipeline.plan.substitution import Capacitor, Need, parse_size, substitute

MONDAY = dt.date(2026, 3, 16)
DATES = {"as_of": dt.date(2026, 3, 14), "season_start": dt.date(2026, 5, 1), "season_end": dt.date(2026, 9, 30)}


def need(
    unit: str, p: float, first: float = 45.0, second: float = 5.0, volts: float = 440.0, call: float = 0.0
) -> dict:
    size = f"{first:g}" + (f"+{second:g}" if second else "") + f" uF {volts:g} V"
    return {
        "unit_id": unit,
        "part": "run_capacitor",
        "size": size,
        "first_uf": first,
        "second_uf": second,
        "volts": volts,
        "tolerance_pct": 6.0,
        "p_stop": p,
        "p_call": call,
    }


def stops(*units: str, truck: str = "2", date: dt.date = MONDAY) -> pl.DataFrame:
    return pl.DataFrame([{"unit_id": u, "technician": "Ida", "date": date, "truck": truck} for u in units])


def plan(
    rows: list[dict],
    planned: pl.DataFrame,
    on_hand: pl.DataFrame | None = None,
    paid: list[tuple] | None = None,
    **settings,
):
    lying = nothing_on_hand().frame if on_hand is None else on_hand
    costs = pl.DataFrame(paid or [], schema=PAID_SCHEMA, orient="row")
    return plan_stock(pl.DataFrame(rows, schema=NEEDS_SCHEMA), planned, lying, Stock(**settings), costs, **DATES)


def listed(found, for_what: str, part: str = "run_capacitor") -> dict[str, int]:
    rows = found.stock_list.filter((pl.col("for_what") == for_what) & (pl.col("part") == part))
    return dict(rows.select("size", "quantity").iter_rows())


def test_a_sure_need_is_on_the_truck_and_on_the_order():
    found = plan([need("A", 1.0)], stops("A"))
    assert listed(found, "week") == {"45+5 uF 440 V": 1}
    assert listed(found, "order") == {"45+5 uF 440 V": 1}
    [row] = found.stock_list.filter(pl.col("for_what") == "week").iter_rows(named=True)
    assert (row["for_which"], row["covers_pct"], row["week_start"]) == ("2, week of 2026-03-16", 100.0, MONDAY)


def test_three_even_chances_need_three_for_95_percent():
    # at most 2 of 3 at one half each: 1 - 1/8 = 87.5 %
    rows = [need(u, 0.5) for u in "ABC"]
    assert listed(plan(rows, stops(*"ABC")), "week") == {"45+5 uF 440 V": 3}
    assert listed(plan(rows, stops(*"ABC"), service_level=0.85), "week") == {"45+5 uF 440 V": 2}


def test_a_higher_voltage_serves_both_and_is_what_is_bought():
    rows = [need("A", 0.5, volts=370.0), need("B", 0.5, volts=440.0)]
    # both at once 1/4: at 75 % one can of 440 V is enough for whichever comes
    assert listed(plan(rows, stops("A", "B"), service_level=0.75), "week") == {"45+5 uF 440 V": 1}


def test_what_lies_on_the_truck_is_counted_and_a_lower_voltage_is_not():
    rows = [need("A", 1.0, volts=440.0)]
    on_truck = read_stock("truck,part,size,quantity\n2,run_capacitor,45+5 440V,1\n").frame
    found = plan(rows, stops("A"), on_truck)
    assert found.stock_list.filter(pl.col("for_what") == "week")["to_order"].to_list() == [0]
    assert listed(found, "order") == {}
    low = read_stock("truck,part,size,quantity\n2,run_capacitor,45+5 370V,1\n").frame
    assert listed(plan(rows, stops("A"), low), "order") == {"45+5 uF 440 V": 1}


def test_two_singles_on_the_truck_serve_with_jumper_and_strap():
    singles = read_stock("truck,part,size,quantity\n2,cap,45 440V,1\n2,cap,5 440V,1\n").frame
    found = plan([need("A", 1.0)], stops("A"), singles)
    assert listed(found, "week") == {"5 uF 440 V": 1, "45 uF 440 V": 1}
    assert listed(found, "week", "jumper_wire") == {"": 1}
    assert listed(found, "week", "mounting_strap") == {"": 1}
    said = found.stock_list.filter(pl.col("size") == "45 uF 440 V")["substitutes"][0]
    assert said == "commons jumpered: 45+5 uF 440 V with 5 uF 440 V"


def test_another_value_within_the_labels_tolerance_is_said_to_be_one():
    lying = read_stock("truck,part,size,quantity\n2,cap,45+5 440V,2\n").frame
    rows = [need("A", 1.0), {**need("B", 1.0), "first_uf": 50.0, "tolerance_pct": 10.0}]
    found = plan(rows, stops(*"AB"), lying)
    said = found.stock_list.filter(pl.col("size") == "45+5 uF 440 V")["substitutes"][0]
    assert said == "other microfarads within the label's tolerance: 50+5 uF 440 V"


def test_orders_leave_their_lead_days_and_never_lie_in_the_past():
    late = dt.date(2026, 4, 20)
    found = plan([need("A", 1.0, call=0.4)], stops("A", date=late), trucks=1, restock_days=60)
    due = found.stock_list.filter(pl.col("for_what") == "order").select("for_which", "order_by").rows()
    # ten days before 20 April, and before 1 May
    assert ("spring round, order by 2026-04-10", dt.date(2026, 4, 10)) in due
    soon = plan([need("A", 1.0)], stops("A")).stock_list.filter(pl.col("for_what") == "order")
    assert soon["order_by"].to_list() == [dt.date(2026, 3, 15)]


def test_the_season_list_covers_calls_between_two_loadings():
    # 40 units with 0.2 each: 8 calls in 153 days, peak twice: 8 * 2 * 7 / 153 = 0.732 a week on one truck;
    # Poisson: P(0) 0.481, P(<=1) 0.833, P(<=2) 0.962: two cans
    rows = [need(f"U{n}", 0.0, call=0.2) for n in range(40)]
    found = plan(rows, stops("U0").clear(), trucks=1)
    assert listed(found, "truck") == {"45+5 uF 440 V": 2}


def test_every_row_has_the_schema_and_the_day_its_parts():
    found = plan([need("A", 1.0), need("B", 0.02)], stops("A", "B"))
    assert found.stock_list.schema == STOCK_LIST_SCHEMA
    assert found.day_parts.select("technician", "size", "quantity").rows() == [("Ida", "45+5 uF 440 V", 1)]


def test_nothing_planned_is_an_empty_list():
    assert plan([], stops("A")).stock_list.is_empty()


@pytest.mark.parametrize(("units", "most"), [(60, 0.5), (200, 0.5), (24, 0.4)])
def test_a_week_is_served_as_often_as_promised(units, most):
    """Draw the stops' needs, serve each in turn from the list with its plainest stand-in: within 2 points."""
    random = np.random.default_rng(units)
    sizes = [(35.0, 5.0), (40.0, 5.0), (45.0, 5.0), (45.0, 7.5), (7.5, 0.0)]
    names = [f"U{n}" for n in range(units)]
    picks = random.integers(0, len(sizes), units)
    chances = random.random(units) * most
    rows = [need(u, float(p), *sizes[k]) for u, k, p in zip(names, picks, chances, strict=True)]
    found = plan(rows, stops(*names))
    have = {parse_size(size): n for size, n in listed(found, "week").items()}
    promised = found.stock_list.filter((pl.col("for_what") == "week") & (pl.col("part") == "run_capacitor"))
    ways = [substitute(Need(Capacitor(*size, 440.0)), have, stop_gaps=False) for size in sizes]
    met = 0
    for hits in random.random((4_000, units)) < chances:
        left, short = dict(have), False
        for k in sorted(picks[hits]):
            way = next((w for w in ways[k] if all(left[can] >= n for can, n in w.cans)), None)
            short = short or way is None
            for can, n in way.cans if way else ():
                left[can] -= n
        met += not short
    assert met / 40 == pytest.approx(promised["covers_pct"][0], abs=2.0)


def two_weeks(on_hand: str, weeks: int = 2, call: float = 0.0):
    """Return the rows of a truck that needs one can for sure in each week."""
    rows = [need(f"U{n}", 1.0, call=call) for n in range(weeks)]
    planned = pl.concat([stops(f"U{n}", date=MONDAY + dt.timedelta(weeks=n)) for n in range(weeks)])
    return plan(rows, planned, read_stock(f"truck,part,size,quantity\n{on_hand}").frame, trucks=0)


@pytest.mark.parametrize(("lying", "to_get"), [(0, [1, 1, 1]), (1, [0, 1, 1]), (2, [0, 0, 1]), (3, [0, 0, 0])])
def test_one_can_on_the_truck_serves_in_one_week_only(lying, to_get):
    found = two_weeks(f"2,cap,45+5 440V,{lying}", weeks=3).stock_list.filter(pl.col("for_what") == "week")
    assert found.sort("week_start")["to_order"].to_list() == to_get
    assert found.sort("week_start")["on_hand"].to_list() == [lying, max(0, lying - 1), max(0, lying - 2)]


def test_what_the_weeks_take_is_not_there_for_the_season():
    kept = {n: two_weeks(f"2,cap,45+5 440V,{n}", call=0.9).stock_list for n in (2, 3)}
    season = {n: rows.filter(pl.col("for_what") == "truck")["on_hand"].to_list() for n, rows in kept.items()}
    assert season == {2: [0], 3: [1]}


def test_singles_taken_as_a_stand_in_are_gone_for_the_next_week():
    found = two_weeks("2,cap,45 440V,1\n2,cap,5 440V,1").stock_list.filter(pl.col("for_what") == "week")
    assert dict(found.filter(pl.col("week_start") == MONDAY).select("size", "to_order").iter_rows()) == {
        "5 uF 440 V": 0,
        "45 uF 440 V": 0,
        "": 1,
    }
    later = found.filter((pl.col("week_start") > MONDAY) & (pl.col("part") == "run_capacitor"))
    assert later.select("size", "to_order").rows() == [("45+5 uF 440 V", 1)]


def test_the_size_itself_is_taken_before_what_could_stand_in():
    found = two_weeks("2,cap,45+5 440V,1\n2,cap,45 440V,1\n2,cap,5 440V,1").stock_list
    weeks = found.filter((pl.col("for_what") == "week") & (pl.col("part") == "run_capacitor")).sort(
        "week_start", "size"
    )
    assert weeks.select("size", "quantity", "to_order").rows() == [
        ("45+5 uF 440 V", 1, 0),
        ("45 uF 440 V", 1, 0),
        ("5 uF 440 V", 1, 0),
    ]


def test_another_trucks_stock_serves_nobody_else():
    found = two_weeks("3,cap,45+5 440V,5").stock_list.filter(pl.col("for_what") == "week")
    assert found["to_order"].to_list() == [1, 1]


NONE = nothing_on_hand().frame
NEEDS = pl.DataFrame([need("A", 1.0), need("B", 1.0, first=35.0)], schema=NEEDS_SCHEMA)
DUAL, OTHER = Capacitor(45.0, 5.0, 440.0), Capacitor(35.0, 5.0, 440.0)


def paid(*rows: tuple) -> pl.DataFrame:
    return pl.DataFrame(rows, schema=PAID_SCHEMA, orient="row")


def test_without_any_price_of_its_own_the_guess_counts():
    # 12.0 + 0.12 a microfarad; a single 8.0 + 0.12
    found = part_prices(NEEDS, NONE, paid())
    assert (found.cans[DUAL], found.cans[Capacitor(45.0, 0.0, 440.0)]) == pytest.approx((18.0, 13.4))
    assert found.parts["contactor"] == 22.0


def test_what_was_paid_comes_before_the_guess_and_sets_the_level_of_the_rest():
    # 36 paid for a guess of 18: twice as dear, so the 35+5 guessed at 16.8 costs 33.6
    found = part_prices(
        NEEDS, NONE, paid(("run_capacitor", 45.0, 5.0, 440.0, 36.0), ("contactor", None, None, None, 17.5))
    )
    assert (found.cans[DUAL], found.cans[OTHER]) == pytest.approx((36.0, 33.6))
    assert found.parts["contactor"] == 17.5


def test_stock_csv_comes_before_what_was_paid():
    said = read_stock("part,size,quantity,cost\ncap,45+5 440V,0,9.50\ncontactor,,0,11\n").frame
    found = part_prices(
        NEEDS, said, paid(("run_capacitor", 45.0, 5.0, 440.0, 36.0), ("contactor", None, None, None, 17.5))
    )
    assert found.cans[DUAL] == 9.5
    assert found.parts["contactor"] == 11.0


def test_an_order_costs_what_was_paid():
    found = plan([need("A", 1.0)], stops("A"), paid=[("run_capacitor", 45.0, 5.0, 440.0, 14.5)])
    assert found.stock_list.filter(pl.col("for_what") == "order")["cost"].to_list() == [14.5]


def test_a_price_paid_may_turn_which_set_is_cheapest():
    """Six rare sizes: at guessed prices singles are shared; where duals cost next to nothing, duals are bought."""
    fans = (3.0, 4.0, 5.0, 7.5, 10.0, 12.5)
    rows = [need(f"U{n}", 0.05, second=fan) for n, fan in enumerate(fans)]
    cheap = [("run_capacitor", 45.0, fan, 440.0, 0.5) for fan in fans]
    dear = [("run_capacitor", fan, 0.0, 440.0, 30.0) for fan in (*fans, 45.0)]
    names = [f"U{n}" for n in range(len(fans))]
    assert any("+" not in size for size in listed(plan(rows, stops(*names)), "week"))
    assert all("+" in size for size in listed(plan(rows, stops(*names), paid=cheap + dear), "week"))
