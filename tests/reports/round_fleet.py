"""The small hostile fleet with a round driven through it: two technicians, two weeks, stock, calls."""

from __future__ import annotations

import datetime as dt

from tests.reports.fleet import Fleet, small_fleet

MONDAY = dt.date(2026, 3, 16)
TECHNICIANS = ("R. Okafor", "<b>M</b> Lindqvist")


def round_fleet() -> Fleet:
    """Return the fleet; its first twenty-four units are on routes, six are left out."""
    fleet = small_fleet()
    units = [row[0] for row in fleet.con.execute("select unit_id from units order by site_id, unit_id").fetchall()]
    fleet.con.execute(
        "insert into core.site_places "
        "select site_id, 27.5 + row_at * 0.004, -91.4 - row_at * 0.003, 'coordinates', null "
        "from (select site_id, row_number() over (order by site_id) as row_at from sites)"
    )
    for n, unit_id in enumerate(units[:24]):
        who, day = TECHNICIANS[n % 2], MONDAY + dt.timedelta(days=7 * (n // 12))
        fleet.add(
            "core.route_stops",
            technician=who,
            date=day,
            stop=1 + n % 12 // 2,
            unit_id=unit_id,
            arrive=f"{8 + n % 12 // 2:02d}:20",
            service_minutes=45.0,
            drive_minutes=7.5,
            reasons="contactor: pitted on 2025-04-02; agreement visit of this spring, none on record",
            work="tune_up; capacitor",
            value=100.0 - n,
            status="booked" if n % 5 == 0 else "to_book",
            truck=f"van {n % 2}",
        )
        fleet.add(
            "core.call_list",
            unit_id=unit_id,
            status="booked" if n % 5 == 0 else "to_book",
            why="It is due.",
            near="week of 2026-03-16",
            date=day,
            technician=who,
            value=100.0 - n,
        )
    for n, unit_id in enumerate(units[24:30]):
        fleet.add("core.plan_left_out", unit_id=unit_id, why="no room left", value=50.0 - n)
    for who in TECHNICIANS:
        for week in range(2):
            fleet.add(
                "core.plan_days",
                technician=who,
                date=MONDAY + dt.timedelta(days=7 * week),
                truck="van",
                opens="08:00",
                closes="16:30",
                work_limit_minutes=360.0,
            )
            fleet.add(
                "core.day_parts",
                technician=who,
                date=MONDAY + dt.timedelta(days=7 * week),
                part="run_capacitor",
                size="40+5 uF 440 V",
                quantity=2,
                expected=0.9,
                covers_pct=97.0,
                substitutes="40 uF and 5 uF singles",
            )
    fleet.add("core.plan_notes", place=1, note="A sentence of the plan. [round]")
    for for_what, which in (
        ("week", "van 0, week of 2026-03-16"),
        ("truck", "van 0"),
        ("order", "spring round, order by 2026-03-15"),
    ):
        fleet.add(
            "core.stock_list",
            part="run_capacitor",
            size="40+5 uF 440 V",
            quantity=3,
            covers_pct=96.2,
            substitutes="40+5 uF 370 V",
            for_what=for_what,
            for_which=which,
            expected=1.4,
            on_hand=1,
            to_order=2,
            cost=35.0,
            truck=None if for_what == "order" else "van 0",
            week_start=MONDAY if for_what == "week" else None,
            order_by=dt.date(2026, 3, 15) if for_what == "order" else None,
        )
    return fleet
