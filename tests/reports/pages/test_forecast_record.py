"""How the forecast did: the page's counts are the view's, and it says when there is too little to judge."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
from collections.abc import Mapping
from typing import Any

from pipeline.config import Settings
from pipeline.forecast.backtest import record_json
from pipeline.forecast.model import fit
from pipeline.forecast.record import summarise
from pipeline.store.query import query
from reports.page import Site
from reports.pages.forecast_record import PAGE, ForecastRecord, build, model_card
from reports.site import make_site
from tests.reports.fleet import Fleet, small_fleet
from tests.simulators.fleet import Shop, simulate

SAID_ON = {"decision_day": dt.date(2025, 2, 1), "eve": dt.date(2025, 4, 30)}


def a_record(fleet: Fleet, units: int, failures: int, *, chance: float = 0.1) -> None:
    """Add a season in which the first ``failures`` of ``units`` failed; every tenth unit was flagged."""
    for asked, as_of in SAID_ON.items():
        for n in range(units):
            fleet.add(
                "core.backtest",
                unit_id=f"B-{n:04d}",
                season="2025",
                as_of=as_of,
                asked=asked,
                season_start=dt.date(2025, 5, 1),
                season_end=dt.date(2025, 9, 30),
                p_failure=chance,
                flagged=n % 10 == 0,
                last_reading_out=n % 7 == 0,
                failed=n < failures,
                failed_cause="run_capacitor" if n < failures else None,
                cause_shares='{"run_capacitor": 1.0}',
                basis="fitted",
            )
    record = summarise(query(fleet.con, "core.backtest"), query(fleet.con, "core.backtest_readings"))
    fleet.add("core.forecast_params", name="record", fitted_through=dt.date(2025, 9, 30), params=record_json(record))


def page(fleet: Fleet) -> ForecastRecord:
    frames = {name: fleet.query(name, {}) for name in PAGE.queries}
    return build(frames, a_site(fleet))


def a_site(fleet: Fleet) -> Site:
    return make_site(fleet.query("site", {}), shop_name="Shop", currency="USD", with_names=True, unit_files={})


def only(rows: tuple[Mapping[str, Any], ...], **wanted: Any) -> Mapping[str, Any]:
    (row,) = [row for row in rows if all(row[key] == value for key, value in wanted.items())]
    return row


def test_without_a_past_season_the_page_says_so_and_stands() -> None:
    it = page(small_fleet(3, hostile=False))
    assert it.headline == "No past season to hold the forecast against yet"
    assert it.seasons == ()
    assert it.guard is None


def test_the_headline_counts_what_was_flagged_and_what_became_of_it() -> None:
    fleet = small_fleet(3, hostile=False)
    a_record(fleet, 200, 40)
    it = page(fleet)
    # Of units 0, 10, ..., 190 flagged, those under 40 failed: 4 of 20; of the others 36 of 180.
    assert it.headline == "Before season 2025 it would have flagged 20 units: 4 had a no-cooling call"
    row = only(it.seasons, asked="eve")
    assert (row["flagged"], row["flagged_failed"], row["others"], row["others_failed"]) == (20, 4, 180, 36)
    assert abs(row["expected_failures"] - 20) < 1e-9


def test_rows_without_a_known_outcome_are_left_out_and_counted() -> None:
    fleet = small_fleet(3, hostile=False)
    a_record(fleet, 50, 5)
    fleet.con.execute("update core.backtest set failed = null where unit_id < 'B-0010'")
    row = only(page(fleet).seasons, asked="eve")
    assert (row["units"], row["left_out"], row["failures"]) == (40, 10, 0)


def test_under_thirty_failures_nothing_is_judged() -> None:
    fleet = small_fleet(3, hostile=False)
    a_record(fleet, 200, 29)
    assert all("Too few to judge" in part.verdict for part in page(fleet).days)
    more = small_fleet(3, hostile=False)
    a_record(more, 200, 30)
    assert not any("Too few to judge" in part.verdict for part in page(more).days)


def test_odds_that_luck_could_have_made_are_not_called_better() -> None:
    """Skill .02 and -.02 with a standard error of .01 speak, with .02 they do not (1.645 standard errors)."""
    fleet = small_fleet(3, hostile=False)
    a_record(fleet, 200, 40)
    (stored,) = fleet.con.execute("select params from core.forecast_params where name = 'record'").fetchall()
    record = json.loads(stored[0])
    said = {(0.09, 0.01): "better than", (-0.02, 0.01): "a little worse than", (0.02, 0.02): "too close to tell from"}
    for (skill, error), words in said.items():
        record["days"] = [{**record["days"][0], "skill": skill, "skill_se": error}]
        fleet.con.execute("update core.forecast_params set params = ? where name = 'record'", [json.dumps(record)])
        assert f"the odds were {words} giving each the shop's own rate" in page(fleet).days[0].verdict


def test_the_heat_of_past_seasons_is_told_where_the_shop_keeps_it() -> None:
    """Effect 1: a tenth more degree days bring a tenth more failures; no degree days, no word of them."""
    fleet, history = small_fleet(3, hostile=False), simulate(Shop(units=60, years=3, seed=2))
    fitted = fit(history.history, history.as_of, Settings())
    told = []
    for heat in ((0.0, 0.0), (1.0, 1500.0)):
        units = dataclasses.replace(fitted.units, heat=heat)
        text = dataclasses.replace(fitted, units=units).to_json()
        fleet.con.execute("delete from core.forecast_params")
        fleet.add("core.forecast_params", name="fitted", fitted_through=dt.date(2020, 9, 30), params=text)
        told.append(" ".join(page(fleet).facts))
    assert "degree days" not in told[0]
    assert "the usual heat of 1,500 degree days" in told[1]
    assert "one a tenth hotter is taken to bring 10.0 % more failures" in told[1]


def test_the_guard_is_told_of() -> None:
    fleet = small_fleet(3, hostile=False)
    bad = {"bad": True, "why": "odds lower than chance", "days": [], "temper": [0, 1]}
    fleet.add("core.forecast_params", name="record", fitted_through=dt.date(2025, 9, 30), params=json.dumps(bad))
    guard = page(fleet).guard
    assert guard is not None
    assert "odds lower than chance" in guard


def test_the_newest_record_is_shown() -> None:
    fleet = small_fleet(3, hostile=False)
    a_record(fleet, 200, 40, chance=0.2)
    old = {"bad": True, "why": "of old", "days": [], "temper": [0, 1]}
    fleet.add("core.forecast_params", name="record", fitted_through=dt.date(2024, 9, 30), params=json.dumps(old))
    assert page(fleet).guard is None


def test_the_model_card_has_all_three_parts() -> None:
    assert set(model_card()) == {"knows", "cannot", "assumes"}
    assert all(model_card().values())
