"""The checker finds each broken rule in a plan that was right before."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import replace

import polars as pl
import pytest

from pipeline.config import Plan, Settings
from pipeline.plan import appointments, distances
from pipeline.plan.checker import violations
from pipeline.plan.round import drives_of, plan_round, prepare_round
from pipeline.plan.technicians import skills_of
from tests.small_shop import IDA, MONDAY, known

SKILLED = IDA.model_copy(update={"skills": ("R-32",)})
BOOKED = {"unit_id": "U4", "date": str(MONDAY), "from": "13:00", "to": "13:30", "technician": "", "status": "booked"}


def setting():
    """Return a plan with an appointment and a skill, and what the checker needs beside it."""
    promised = pl.DataFrame(
        [BOOKED | {"source_line": 2}],
        schema=dict.fromkeys(appointments.COLUMNS, pl.String()) | {"source_line": pl.Int64()},
    )
    travel = pl.DataFrame(schema=dict.fromkeys(distances.COLUMNS, pl.String()) | {"source_line": pl.Int64()})
    settings = Settings(technicians=(SKILLED,), plan=Plan())
    given = {"centroids": lambda codes: {}, "appointments": promised, "travel": travel}
    ready = prepare_round(known(), settings, **given)
    return ready, plan_round(known(), settings, iterations=50, **given)


def check(change: Callable[[pl.DataFrame], pl.DataFrame], days=None, keep_booked: bool = True) -> list[str]:
    ready, found = setting()
    return violations(
        change(found.route_stops),
        ready.due,
        ready.promised if keep_booked else ready.promised.clear(),
        found.left_out,
        ready.days if days is None else days(ready.days),
        skills_of([SKILLED]),
        drives_of(ready.places),
    )


def on(unit: str, **changes: pl.Expr | object) -> Callable[[pl.DataFrame], pl.DataFrame]:
    here = pl.col("unit_id") == unit
    return lambda frame: frame.with_columns(
        **{
            name: pl.when(here).then(value if isinstance(value, pl.Expr) else pl.lit(value)).otherwise(name)
            for name, value in changes.items()
        }
    )


def test_a_right_plan_breaks_nothing() -> None:
    assert check(lambda frame: frame) == []


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda f: f.filter(pl.col("unit_id") != "U2"), "neither on a route nor left out"),
        (lambda f: pl.concat([f, f.head(1)]), "more than once"),
        (on("U1", unit_id="U99"), "not due"),
        (on("U4", date=MONDAY + dt.timedelta(days=1)), "it is booked on"),
        (on("U4", arrive="11:00"), "is not within its hours"),
        (on("U4", status="to_book"), "its status is to_book"),
        (on("U2", date=MONDAY + dt.timedelta(days=2)), "does not work"),
        (on("U2", technician="Odo"), "does not work"),
        (on("U2", drive_minutes=pl.col("drive_minutes") + 1), "the drive takes"),
        (on("U2", service_minutes=1.0), "service time is not that of its work"),
        (on("U2", stop=9), "not numbered"),
        (lambda f: f.with_columns(arrive=pl.lit("08:00")), "cannot be reached"),
        (lambda f: f.with_columns(arrive=pl.lit("16:20")), "the shift ends before"),
    ],
)
def test_each_broken_rule_is_found(change, said) -> None:
    assert any(said in sentence for sentence in check(change))


def test_a_missing_skill_is_found() -> None:
    assert any(
        "skill r-32" in s for s in check(lambda f: f, lambda days: [replace(d, skills=frozenset()) for d in days])
    )


def test_a_share_not_kept_free_is_found_unless_it_was_booked_away() -> None:
    full = [replace(day, work_limit=10) for day in setting()[0].days]
    assert any("less free than the share" in s for s in check(lambda f: f, lambda _: full, keep_booked=False))
    booked_day = lambda f: f.filter(pl.col("date") == MONDAY)  # noqa: E731
    assert not any("less free" in s for s in check(booked_day, lambda _: full))
