"""Reasons name the reading, the limit and the visit."""

from __future__ import annotations

import datetime as dt
import re

import polars as pl
import pytest

from pipeline.config import Settings
from pipeline.fields import registry
from pipeline.forecast.history import (
    CHARGE_COLUMNS,
    PART_COLUMNS,
    READING_COLUMNS,
    SERIES_COLUMNS,
    UNIT_COLUMNS,
    VISIT_COLUMNS,
    History,
)
from pipeline.forecast.model import apply, fit
from pipeline.forecast.reasons import _odds_pct

AS_OF, SPRING = dt.date(2026, 4, 10), dt.date(2026, 4, 2)
UNITS = ["amps", "charge", "dull", "fan", "old", "oz", "rated", "worn"]


def frame(rows: list[dict[str, object]], schema: pl.Schema) -> pl.DataFrame:
    """Return rows under a schema."""
    return pl.DataFrame(rows, schema=schema)


@pytest.fixture(scope="module")
def told() -> dict[str, str]:
    """Reasons by unit of a fleet in which each unit has one thing wrong."""
    readings = [
        ("fan", "fan", 5.9, 7.5, None),
        ("fan", "fan", 7.5, 7.5, "rating_copied"),
        ("worn", "herm", 31.0, 40.0, None),
    ]
    # read low for three springs, then once at its rating to the digit, with nobody's mark against it
    falling = [
        ("rated", "herm", uf, 40.0, None, SPRING - dt.timedelta(days=365 * back))
        for uf, back in ((37.0, 3), (35.5, 2), (34.0, 1), (40.0, 0))
    ]
    history = History(
        series=frame(
            [
                {"unit_id": u, "section": s, "series": 1, "rated_uf": 40.0 if s == "herm" else 7.5}
                | {"tolerance_pct": 6.0, "started_on": dt.date(2024, 6, 1), "start_kind": "fitted"}
                for u in UNITS
                for s in ("herm", "fan")
            ],
            SERIES_COLUMNS,
        ),
        cap_readings=frame(
            [
                {"unit_id": u, "visit_id": f"{u} {on}", "visit_date": on, "section": s, "series": 1, "measured_uf": uf}
                | {"rated_uf": r, "method": "bench", "drift_pct": 100 * (uf / r - 1), "suspect": suspect}
                for u, s, uf, r, suspect, on in [*((*row, SPRING) for row in readings), *falling]
            ],
            READING_COLUMNS,
        ),
        charge=frame(
            [
                {"unit_id": "charge", "visit_id": "charge", "visit_date": SPRING}
                | {"leak_loss_f": 24.04, "superheat_deviation_f": 24.04, "subcooling_deviation_f": -3.0}
            ],
            CHARGE_COLUMNS,
        ),
        visits=frame(
            [
                {"unit_id": u, "visit_id": u, "visit_date": SPRING, "visit_type": "maintenance"}
                | {
                    "compressor_amps": 20.0 if u == "amps" else None,
                    "refrigerant_added_oz": 48.0 if u == "oz" else None,
                }
                | {"observations": "noisy_compressor; pitted_contactor" if u == "amps" else None}
                for u in UNITS
            ],
            VISIT_COLUMNS,
        ),
        parts=frame([], PART_COLUMNS),
        units=frame(
            [
                {"unit_id": u, "first_visit_on": SPRING, "last_visit_on": SPRING, "compressor_rla_amps": 16.0}
                | {"installed_on": dt.date(2000 if u == "old" else 2017, 6, 1), "nominal_tons": 3.0}
                for u in UNITS
            ],
            UNIT_COLUMNS,
        ),
    )
    units = apply(history, fit(history, AS_OF, Settings()), AS_OF, Settings()).units
    return dict(units.select("unit_id", "reasons").iter_rows())


def test_a_worn_section_is_told_by_its_reading(told: dict[str, str]) -> None:
    """5.9 of 7.5 uF is -21.3 %, 31 of 40 uF is -22.5 %; a reading that was copied off the label is not the evidence."""
    assert told["fan"].startswith("run_capacitor: fan section read 5.9 of 7.5 uF (-21 %) on 2026-04-02, limit -6 %")
    assert told["worn"].startswith("run_capacitor: hermetic section read 31 of 40 uF (-22 %) on 2026-04-02, limit -6 %")


def test_a_reading_is_told_with_its_own_percent(told: dict[str, str]) -> None:
    """40 of 40 uF is 0 %, whatever the state is taken to be: that is told apart, as what is expected."""
    text = told["rated"]
    assert "hermetic section read 40 of 40 uF (0 %) on 2026-04-02, limit -6 %, expected near -" in text
    for uf, rated, pct in re.findall(r"read ([\d.]+) of ([\d.]+) uF[^(]*\(([+-]?\d+) %\)", "; ".join(told.values())):
        assert float(pct) == pytest.approx(100 * (float(uf) / float(rated) - 1), abs=0.51)


@pytest.mark.parametrize(("p", "text"), [(0.0001, "under 1"), (0.31, "31"), (0.9999, "over 99")])
def test_odds_are_never_told_as_none_or_all(p: float, text: str) -> None:
    """No 0 % and no 100 %."""
    assert pl.select(_odds_pct(pl.lit(p))).item() == text


def test_low_charge_is_told_by_the_deviation_it_was_seen_in(told: dict[str, str]) -> None:
    """Superheat 24 over target, limit 5 (contract's band)."""
    assert told["charge"].startswith("refrigerant_leak: superheat 24 degF over target on 2026-04-02, limit 5")


def test_additions_amps_and_age_are_told(told: dict[str, str]) -> None:
    """48 oz added; 20 A of 16 A rated load; 26 years old."""
    assert "refrigerant_leak: 48 oz added on 2026-04-02, one addition on record" in told["oz"]
    assert "compressor: drew 20 A of 16 A rated load on 2026-04-02" in told["amps"]
    assert "contactor: pitted contactor seen on 2026-04-02" in told["amps"]
    assert told["old"].startswith("other: 26 years old")


def test_every_reason_begins_with_a_cause_word(told: dict[str, str]) -> None:
    """The words of the registry."""
    causes = set(registry()["visits"].fields["cause"].allowed)
    assert {one.split(": ")[0] for text in told.values() for one in text.split("; ") if ": " in one} <= causes


def test_a_unit_with_nothing_wrong_says_so(told: dict[str, str]) -> None:
    """No invented evidence."""
    assert told["dull"] == "other: nothing on record stands out from the fleet"
