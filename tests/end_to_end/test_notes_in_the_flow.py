"""A shop with nothing but notes, through the whole job: what is told counts, is shown with its words, can be off."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from tests.end_to_end.bringing import bring
from tests.end_to_end.conftest import ask, run_quietly

JOBS = """Job #,Date,Customer,Address,Job,Notes,Cap Herm
1,2023-05-02,Ilka Venn,4 Quarry Lane,Tune-up,"herm 43.9 of 45, fan 4.8. 118/362 sh 12 sc 9",
2,2024-05-06,Ilka Venn,4 Quarry Lane,Tune-up,"cap 43.1/4.7, contactor pitted",
3,2025-05-09,Ilka Venn,4 Quarry Lane,Tune-up,"cap 31.0/4.6, call 512-555-0143",42.2
4,2025-06-11,Odo Marsh,7 Quarry Lane,Repair,"#1: cap 46.2/5, split 17
#2: replaced run cap 40/5",
5,2025-06-12,Odo Marsh,7 Quarry Lane,Tune-up,all good,
"""


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("notes")
    (folder / "jobs.csv").write_text(JOBS, "utf-8")
    run_quietly([folder / "jobs.csv"], folder / "shop")
    return folder / "shop"


def herm(shop: Path) -> list[tuple[object, ...]]:
    readings = ask(shop, "capacitor_readings")["capacitor_readings"]
    return (
        readings.filter(pl.col("section") == "herm")
        .sort("visit_date")
        .select("measured_uf", "method", "rated_uf", "rated_source")
        .rows()
    )


def test_told_readings_count_and_typed_ones_win(shop: Path) -> None:
    assert herm(shop) == [
        (43.9, "from_notes", 45.0, "notes"),
        (43.1, "from_notes", 45.0, "notes"),
        (42.2, "bench", 45.0, "notes"),
    ]


def test_every_value_carries_its_words_and_nothing_of_two_units_is_merged(shop: Path) -> None:
    told = ask(shop, "note_readings")["note_readings"]
    assert "512" not in " ".join(told["snippet"].to_list())
    mine = told.filter((pl.col("field") == "herm_uf") & pl.col("attributed")).sort("visit_date")
    assert mine["snippet"].to_list() == ["herm 43.9 of 45", "cap 43.1/4.7", "cap 31.0/4.6"]
    assert mine["used"].to_list() == [True, True, False]
    of_two = told.filter(pl.col("mark").is_not_null())
    assert of_two.height == 5
    assert not of_two["attributed"].any()
    assert ask(shop, "charge_readings")["charge_readings"]["from_notes"].drop_nulls().to_list() == [
        "liquid_psig; recorded_subcooling_f; recorded_superheat_f; suction_psig"
    ]


def test_page_shows_what_was_read_from_where(shop: Path) -> None:
    page = next((shop / "dashboards").rglob("data-quality.html")).read_text("utf-8")
    assert "Read out of the notes" in page
    assert "<q>cap 31.0/4.6</q>" in page


@pytest.mark.thorough
def test_setting_switches_it_off_and_on(shop: Path) -> None:
    settings = shop / "settings.toml"
    before = settings.read_text("utf-8")
    settings.write_text("[notes]\nmine = false\n", "utf-8")
    run_quietly([shop.parent / "jobs.csv"], shop)
    assert [row[:2] for row in herm(shop)] == [(42.2, "bench")]
    assert ask(shop, "note_readings")["note_readings"].is_empty()
    assert ask(shop, "charge_readings")["charge_readings"].is_empty()
    settings.write_text(before, "utf-8")
    run_quietly([shop.parent / "jobs.csv"], shop)
    assert len(herm(shop)) == 3


METER = """Job #,Date,Customer,Address,Job,Refrigerant,Suction psig,Suction Line F,Superheat,Notes
1,2024-07-02,Ilka Venn,4 Quarry Lane,Tune-up,R-410A,118,52,12,
2,2025-07-03,Ilka Venn,4 Quarry Lane,Tune-up,R-410A,118,52,31,
3,2025-07-04,Odo Marsh,7 Quarry Lane,Tune-up,R-410A,,,14,
4,2025-07-05,Ada Thorn,9 Quarry Lane,Tune-up,R-410A,118,52,,
5,2025-07-06,Ona Reed,11 Quarry Lane,Tune-up,R-410A,,,,"118/340, suction line 52"
"""


def test_what_a_meter_computed_stands_in_and_is_held_against_the_readings(tmp_path: Path) -> None:
    """R-410A boils at 39.8 degF at 118 psig (CoolProp 8, dew point), so that a line of 52 degF is 12.2 above it."""
    found = bring(tmp_path, {"jobs.csv": METER}, names=("charge_readings", "suspects", "core.charge_readings"))
    charge = found.tables["core.charge_readings"].sort("visit_id")
    assert charge["superheat_f"].round(1).to_list() == [12.2, 12.2, 14.0, 12.2, 12.2]
    assert charge["superheat_source"].to_list() == ["readings", "readings", "recorded", "readings", "readings"]
    wider = charge["superheat_sd_f"].to_list()
    assert wider[4] > wider[3] + 0.5
    (suspect,) = found.tables["suspects"].iter_rows(named=True)
    assert (suspect["visit_id"], suspect["field"], suspect["reason"]) == (
        "2",
        "recorded_superheat_f",
        "recorded_superheat_differs_from_readings",
    )
    assert suspect["message"].startswith(
        "superheat 31 degF was recorded, but the suction line 52 degF and 118 psig give"
    )
