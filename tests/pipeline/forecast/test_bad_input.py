"""Odd and thin histories: an honest width or a stated lack of basis, never a crash, NaN, 0 or 1."""

from __future__ import annotations

import datetime as dt

import polars as pl
import pytest

from pipeline.config import Settings
from pipeline.forecast.backtest import backtest, guard
from pipeline.forecast.history import (
    CHARGE_COLUMNS,
    PART_COLUMNS,
    READING_COLUMNS,
    SERIES_COLUMNS,
    UNIT_COLUMNS,
    VISIT_COLUMNS,
    History,
)
from pipeline.forecast.model import Forecasts, apply, fit

AS_OF = dt.date(2026, 4, 10)


def history(
    units: list[str],
    visits: list[tuple[str, dt.date, str]],
    readings: list[tuple[str, dt.date, float]] = [],  # noqa: B006
    rated_uf: float | None = 40.0,
    installed_on: dt.date | None = dt.date(2018, 6, 1),
) -> History:
    """Return a history with one hermetic section per unit; readings are drifts in percent of the rating."""
    dates = {u: [d for v, d, _ in visits if v == u] for u in units}
    return History(
        series=pl.DataFrame(
            [
                {"unit_id": u, "section": "herm", "series": 1, "rated_uf": rated_uf, "tolerance_pct": 6.0}
                | {"started_on": installed_on, "start_kind": "installed" if installed_on else "unknown"}
                for u in units
            ],
            schema=SERIES_COLUMNS,
        ),
        cap_readings=pl.DataFrame(
            [
                {"unit_id": u, "visit_id": f"{u}-{d}-{i}", "visit_date": d, "section": "herm", "series": 1}
                | {"rated_uf": rated_uf, "measured_uf": 40 * (1 + y / 100), "method": "bench", "scheduled": True}
                | {"drift_pct": y if rated_uf else None, "technician": "A"}
                for i, (u, d, y) in enumerate(readings)
            ],
            schema=READING_COLUMNS,
        ),
        charge=pl.DataFrame(schema=CHARGE_COLUMNS),
        visits=pl.DataFrame(
            [
                {"unit_id": u, "visit_id": f"{u}-{d}-{i}", "visit_date": d, "visit_type": kind}
                for i, (u, d, kind) in enumerate(visits)
            ],
            schema=VISIT_COLUMNS,
        ),
        parts=pl.DataFrame(schema=PART_COLUMNS),
        units=pl.DataFrame(
            [
                {"unit_id": u, "installed_on": installed_on, "cap_herm_uf": rated_uf}
                | {"first_visit_on": min(dates[u], default=None), "last_visit_on": max(dates[u], default=None)}
                for u in units
            ],
            schema=UNIT_COLUMNS,
        ),
    )


def springs(
    units: list[str], years: range = range(2024, 2027), kind: str = "maintenance"
) -> list[tuple[str, dt.date, str]]:
    """Return one visit per unit and year on 1 April."""
    return [(u, dt.date(y, 4, 1), kind) for u in units for y in years]


def calls(units: list[str], years: range) -> list[tuple[str, dt.date, str]]:
    """Return one no-cooling call per unit and year on 10 July."""
    return [(u, dt.date(y, 7, 10), "no_cooling") for u in units for y in years]


ONE, MANY = ["u1"], [f"u{i}" for i in range(12)]
NEW_YEAR = dt.date(2026, 4, 1)
CASES = {
    "no reading at all": history(MANY, springs(MANY)),
    "no failure in any season": history(MANY, springs(MANY), [(u, d, -3.0) for u, d, _ in springs(MANY)]),
    "one reading": history(MANY, springs(MANY), [("u1", NEW_YEAR, -4.0)]),
    "forty in a day": history(ONE, springs(ONE), [("u1", NEW_YEAR, -4.0 - i / 40) for i in range(40)]),
    "all equal to the rating": history(MANY, springs(MANY), [(u, d, 0.0) for u, d, _ in springs(MANY)]),
    "fleet of one": history(ONE, springs(ONE), [(u, d, -2.0) for u, d, _ in springs(ONE)]),
    "every unit failed every year": history(MANY, springs(MANY) + calls(MANY, range(2024, 2026))),
    "every unit failed, one season": history(MANY, springs(MANY, range(2025, 2027)) + calls(MANY, range(2025, 2026))),
    "only failures": history(MANY, calls(MANY, range(2024, 2026))),
    "years apart": history(
        ONE, springs(ONE, range(1996, 2027, 10)), [("u1", dt.date(1996, 4, 1), -1.0), ("u1", NEW_YEAR, -5.0)]
    ),
    "rating of 0": history(MANY, springs(MANY), [(u, NEW_YEAR, -4.0) for u in MANY], rated_uf=0.0),
    "rating not known": history(MANY, springs(MANY), rated_uf=None),
    "no install date": history(MANY, springs(MANY), [("u1", NEW_YEAR, -4.0)], installed_on=None),
    "installed after the readings": history(
        ONE, springs(ONE), [("u1", dt.date(2024, 4, 1), -4.0)], installed_on=dt.date(2026, 1, 1)
    ),
    "first visit this spring": history(MANY, springs(MANY, range(2026, 2027)), [(u, NEW_YEAR, -9.0) for u in MANY]),
    "found open": history(ONE, springs(ONE), [("u1", NEW_YEAR, -100.0)]),
    "infinite reading": history(ONE, springs(ONE), [("u1", NEW_YEAR, float("inf"))]),
    "not a number": history(ONE, springs(ONE), [("u1", NEW_YEAR, float("nan"))]),
}


def forecast(case: History) -> Forecasts:
    """Fit and apply, the guard included."""
    params = guard(fit(case, AS_OF, Settings()), backtest(case, AS_OF, Settings()).record)
    return apply(case, params, AS_OF, Settings())


@pytest.mark.parametrize("name", CASES)
def test_odd_history_gets_an_honest_forecast(name: str) -> None:
    """A row per unit, odds strictly inside 0 and 1, an interval about them, a reason, at least one unit flagged."""
    case = CASES[name]
    found = forecast(case)
    units = found.units
    assert units.height == case.units.height
    assert units["p_failure"].is_between(0.0, 1.0, closed="none").all()
    assert (units["p_low"] < units["p_high"]).all()
    assert units.filter(pl.col("p_failure").is_between("p_low", "p_high")).height == units.height
    assert units["leading_reason"].str.contains(r"^[a-z_]+: ").all()
    assert units["flagged"].any()
    for column in ("p_out_now", "p_out_by_season_start", "p_out_by_season_end"):
        assert found.sections[column].is_between(0.0, 1.0, closed="none").all()
    assert found.sections["drift_pct"].is_finite().all()
    assert (found.sections["drift_sd_pct"] > 0).all()


def test_nothing_recorded_gives_empty_frames() -> None:
    """No rows in, no rows out."""
    found = forecast(history([], []))
    assert found.units.is_empty()
    assert found.sections.is_empty()


def test_fewer_readings_are_less_sure() -> None:
    """The state of a section is known best with many readings, worst with none."""
    many = history(ONE, springs(ONE), [(u, d, -2.0) for u, d, _ in springs(ONE)])
    few = history(ONE, springs(ONE), [("u1", NEW_YEAR, -2.0)])
    none = history(ONE, springs(ONE))
    spread = [forecast(case).sections["drift_sd_pct"].item() for case in (many, few, none)]
    assert spread == sorted(spread)


def test_forty_readings_of_a_day_count_about_as_one() -> None:
    """Repeated readings of one day share their error: the width hardly shrinks."""
    one = forecast(history(ONE, springs(ONE), [("u1", NEW_YEAR, -4.5)])).sections
    forty = forecast(CASES["forty in a day"]).sections
    assert forty["drift_sd_pct"].item() == pytest.approx(one["drift_sd_pct"].item(), rel=0.05)


def test_an_open_section_is_out_today() -> None:
    """Found open: out of tolerance as of the day, and the unit's odds far above a unit that reads well."""
    opened = forecast(CASES["found open"])
    well = forecast(history(ONE, springs(ONE), [("u1", NEW_YEAR, -1.0)]))
    assert opened.sections["out_of_tolerance_on"].item() == AS_OF
    assert opened.sections["already_out"].item()
    assert opened.units["p_failure"].item() > 3 * well.units["p_failure"].item()


def test_an_unseen_unit_is_never_flagged() -> None:
    """37 months without a visit: no flag however bad the last reading; a unit in care takes the place."""
    units = ["gone", "here"]
    case = history(
        units,
        [("gone", dt.date(2023, 3, 1), "maintenance"), ("here", NEW_YEAR, "maintenance")],
        [("gone", dt.date(2023, 3, 1), -30.0), ("here", NEW_YEAR, 0.5)],
    )
    flags = dict(forecast(case).units.select("unit_id", "flagged").iter_rows())
    assert flags == {"gone": False, "here": True}


def test_a_replacement_resets_the_section() -> None:
    """A new part starts afresh: odds far below those of the part it replaced."""
    worn = history(ONE, springs(ONE), [("u1", NEW_YEAR, -15.0)])
    new_part = pl.DataFrame(
        [
            {"unit_id": "u1", "section": "herm", "series": 2, "rated_uf": 40.0, "tolerance_pct": 6.0}
            | {"started_on": NEW_YEAR, "start_kind": "fitted"}
        ],
        schema=SERIES_COLUMNS,
    )
    renewed = History(
        series=pl.concat([worn.series.with_columns(ended_on=pl.lit(NEW_YEAR)), new_part]),
        cap_readings=worn.cap_readings.with_columns(at_replacement=pl.lit(True)),
        charge=worn.charge,
        visits=worn.visits,
        parts=worn.parts,
        units=worn.units,
    )
    before, after = forecast(worn), forecast(renewed)
    assert before.sections["p_out_now"].item() > 0.9
    assert after.sections["p_out_now"].item() < 0.05
    assert after.units["p_failure"].item() < before.units["p_failure"].item()
