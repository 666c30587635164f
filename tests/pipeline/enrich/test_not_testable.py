"""Why a charge is not testable: one registry of codes, told in words by the store and acted on by the fault answers."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.enrich.charge import charge_readings
from pipeline.enrich.not_testable import BETWEEN, has_reason, reason_table, reasons
from tests.charge_states import frames, reading, unit
from tests.reports.fleet import AS_OF, Fleet

COLUMNS = {"no_refrigerant", "no_metering", "no_outdoor", "no_wet_bulb", "no_superheat", "no_subcooling"}


def test_the_words_name_the_limits_that_are_judged_by() -> None:
    words = {code: reason.words for code, reason in reasons().items()}
    assert words["just_started"] == "under 15 minutes running"
    assert words["outdoor_cold"] == "outdoor under 55 degF"
    assert words["wet_bulb_outside"] == "wet bulb outside 50 to 76 degF"
    assert not [text for text in words.values() if "{" in text or BETWEEN.strip() in text]
    assert len(set(words.values())) == len(words)
    asked = [r.asked for r in reasons().values() if r.asked is not None]
    assert sorted(asked) == list(range(1, len(asked) + 1))
    assert all((r.asked is None) == (r.next_reading is None) for r in reasons().values())


def test_a_code_is_found_whole_and_only_where_it_stands() -> None:
    codes = [None, "no_wet_bulb", "no_outdoor; no_wet_bulb", "wet_bulb_outside", "no_wet_bulb_at_all"]
    frame = pl.DataFrame({"not_testable_codes": codes})
    found = frame.select(has_reason(["no_wet_bulb"])).to_series().to_list()
    assert found == [False, True, True, False, False]


@pytest.mark.parametrize(
    ("changes", "asked"),
    [  # what is lacking is asked for before what has only to be taken again
        ({"return_wb_f": None, "minutes_running": 5.0}, "return_wb_f"),
        ({"return_wb_f": None, "outdoor_db_f": None}, "return_wb_f"),
        ({"suction_line_f": None}, "suction_psig and suction_line_f"),
        ({"minutes_running": 5.0}, "the same readings again after 15 minutes"),
        ({"outdoor_db_f": 50.0}, "the same readings on a day of 55 degF or more"),
        ({"liquid_psig": 100.0}, "both pressures"),
    ],
)
def test_the_next_reading_is_what_is_lacking(changes: dict[str, float | None], asked: str) -> None:
    assert charge_readings(*frames(reading(**changes), unit()))["next_reading"].item() == asked


def test_where_no_fault_can_be_judged_either_none_is_named() -> None:
    no_fault = charge_readings(*frames(reading(mode="heating"), unit()))
    assert no_fault.select("not_testable_codes", "likely_fault").row(0) == ("not_cooling", None)
    dry = charge_readings(*frames(reading(return_wb_f=None), unit()))
    assert dry["not_testable_codes"].item() == "no_wet_bulb"
    assert dry["likely_fault"].item() is not None


def test_the_view_tells_the_codes_in_words_and_in_their_order() -> None:
    fleet = Fleet()
    for row in reason_table().iter_rows(named=True):
        fleet.add("core.not_testable_reasons", **row)
    for n, codes in enumerate((None, "no_wet_bulb", "no_refrigerant; no_metering; outdoor_cold")):
        verdict = "within" if codes is None else "not_testable"
        fleet.add(
            "core.charge_readings",
            unit_id="U1",
            visit_id=f"V{n}",
            visit_date=AS_OF,
            charge_verdict=verdict,
            not_testable_codes=codes,
        )
    told = fleet.con.execute("select not_testable_because from charge_readings order by visit_id").fetchall()
    assert told == [
        (None,),
        ("no wet bulb or humidity",),
        ("refrigerant not known; metering device not known; outdoor under 55 degF",),
    ]
    shown = fleet.query("data_quality_not_testable", {})
    assert shown["because"].to_list() == [
        "metering device not known",
        "no wet bulb or humidity",
        "outdoor under 55 degF",
        "refrigerant not known",
    ]
    assert set(reason_table().filter(pl.col("column_words").is_not_null())["code"]) == COLUMNS
