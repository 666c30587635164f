"""What people write into appointments.csv: dates and hours as spreadsheets save them, and who answers for the row."""

from __future__ import annotations

import datetime as dt

import polars as pl
import pytest

from pipeline.checks.formulas import guarded
from pipeline.plan.appointments import APPOINTMENTS_SCHEMA, COLUMNS, read_appointments
from pipeline.plan.technicians import Window

AS_OF = dt.date(2026, 4, 3)
WINDOW = Window(dt.date(2026, 4, 4), dt.date(2026, 4, 30))


def read(**cells: str) -> tuple[pl.DataFrame, list[str]]:
    table = pl.DataFrame(
        [{"unit_id": "U1", "date": "2026-04-09"} | cells | {"source_line": 7}],
        schema=dict.fromkeys(COLUMNS, pl.String()) | {"source_line": pl.Int64()},
    )
    found, said = read_appointments(table, {"U1"}, {"Ida"}, WINDOW, AS_OF, "appointments.csv")
    assert found.schema == APPOINTMENTS_SCHEMA
    return found, said


@pytest.mark.parametrize(
    "text", ["2026-04-09", "04/09/2026", "4/9/26", "09.04.2026", "2026-04-09T00:00", "2026-04-09 0:00"]
)
def test_a_date_is_read_as_spreadsheets_save_it(text: str) -> None:
    found, said = read(date=text)
    assert (found["date"].to_list(), said) == ([dt.date(2026, 4, 9)], [])


@pytest.mark.parametrize(
    ("text", "minutes"),
    [("9", 540), ("09:30", 570), ("9.30", 570), ("9:30 AM", 570), ("2 pm", 840), ("12 am", 0), ("12:15 p.m.", 735)],
)
def test_an_hour_is_read_as_people_write_it(text: str, minutes: int) -> None:
    found, said = read(**{"from": text})
    assert (found["opens"].to_list(), said) == ([minutes], [])


@pytest.mark.parametrize("text", ["25:00", "9:75", "13 pm", "noon", "=1+1", "9-10"])
def test_an_hour_that_cannot_be_read_keeps_the_promise_and_names_the_cell(text: str) -> None:
    found, [said] = read(**{"from": text})
    assert found["status"].to_list() == ["unreadable"]
    assert said.startswith('appointments.csv line 7, column "from"')


@pytest.mark.parametrize("unit_id", ["=A1", "-C3", "'=E5", "G8"])
def test_ids_may_be_copied_from_the_lists(unit_id: str) -> None:
    """A list has an apostrophe before a formula sign; typed as it is stored the id is right too."""
    for cell in (guarded(unit_id), unit_id):
        row = {"unit_id": cell, "date": "2026-04-09", "technician": guarded("@Ida"), "source_line": 7}
        table = pl.DataFrame([row], schema=dict.fromkeys(COLUMNS, pl.String()) | {"source_line": pl.Int64()})
        found, said = read_appointments(table, {unit_id}, {"@Ida"}, WINDOW, AS_OF, "appointments.csv")
        assert (found["unit_id"].to_list(), found["technician"].to_list(), said) == ([unit_id], ["@Ida"], [])


def test_a_blank_status_is_booked_and_words_are_read_in_any_case() -> None:
    assert read(status="")[0]["status"].to_list() == ["booked"]
    assert read(status=" No Answer ", date="")[0]["status"].to_list() == ["no_answer"]
    assert read(status="DECLINED", date="")[0]["status"].to_list() == ["declined"]


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        ({"unit_id": "U7"}, "'U7' is no unit under care"),
        ({"unit_id": ""}, "'' is no unit under care"),
        ({"date": "31.02.2026"}, "'31.02.2026' is not a date"),
        ({"date": "2026-04-03"}, "2026-04-03 is past, as of 2026-04-03"),
        ({"status": "sure"}, "'sure' is none of booked, declined, no_answer"),
    ],
)
def test_a_row_that_cannot_be_used_is_one_sentence(cells: dict[str, str], said: str) -> None:
    found, notes = read(**cells)
    assert found.is_empty()
    assert len(notes) == 1
    assert said in notes[0]
    assert notes[0].startswith("appointments.csv line 7, ")
    assert notes[0].endswith("[appointment]")
