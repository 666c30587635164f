"""The sheet of planned stops comes back with the ids it went out with, and no other file is touched."""

from __future__ import annotations

import csv
import datetime as dt
import io
from pathlib import Path

import polars as pl
from hypothesis import example, given, settings
from hypothesis import strategies as st

from pipeline.checks.formulas import guarded
from pipeline.checks.visit_sheet import KEYS, READINGS, as_planned, planned_visit_id
from pipeline.ingest.read import RawTable
from tests.end_to_end.conftest import ask, run_quietly
from tests.raw_tables import make_columns

IDS = ("=A1", "@B 2", "-C3", "+D4", "'=E5", "''@F6", "-7", "G8")
DATE = dt.date(2026, 3, 6)


def planned(unit_id: str) -> str:
    return pl.select(planned_visit_id(pl.lit(DATE), pl.lit(unit_id))).item()


def sheet(*unit_ids: str, readings: tuple[str, ...] = READINGS, visits: tuple[str, ...] = ()) -> RawTable:
    """Return the sheet as it is read again, ids guarded as they went out."""
    tickets = visits or tuple(planned(unit_id) for unit_id in unit_ids)
    keys = (tickets, unit_ids, ["2026-03-06"] * len(unit_ids), ["@R. Reyes"] * len(unit_ids))
    columns = {name: [guarded(cell) for cell in cells] for name, cells in zip(KEYS, keys, strict=True)}
    return make_columns({**columns, **{name: [""] * len(unit_ids) for name in readings}})


@settings(deadline=None)
@given(st.lists(st.text(min_size=1).map(str.strip).filter(bool), min_size=1, max_size=4))
@example(list(IDS))
def test_every_id_comes_back_exactly(unit_ids: list[str]) -> None:
    back = as_planned(sheet(*unit_ids)).cells
    assert back["c1"].to_list() == unit_ids
    assert back["c3"].to_list() == ["@R. Reyes"] * len(unit_ids)


def test_columns_taken_out_or_tickets_numbered_anew_do_no_harm() -> None:
    assert as_planned(sheet(*IDS, readings=("herm_uf",))).cells["c1"].to_list() == list(IDS)
    anew = tuple(f"T{n}" for n in range(len(IDS)))
    assert as_planned(sheet(*IDS, visits=anew)).cells["c1"].to_list() == list(IDS)


def test_another_export_keeps_what_was_typed() -> None:
    """Contract: ids are exact. Neither the columns nor the tickets are the sheet's."""
    own = sheet("=A1", readings=("herm_uf",), visits=("T1",))
    assert as_planned(own).cells["c1"].to_list() == ["'=A1"]
    other = make_columns({"Ticket": [planned("=A1")], "Unit ID": ["'=A1"]})
    assert as_planned(other) is other


def test_a_filled_in_sheet_adds_visits_to_the_units_it_was_made_for(tmp_path: Path) -> None:
    """Saved again with semicolons, as a spreadsheet of another country does."""
    history = io.StringIO()
    writer = csv.writer(history)
    writer.writerow(
        ["Ticket", "Unit ID", "Date", "Technician", "Site ID", "Herm uF", "Rated herm uF", "Latitude", "Longitude"]
    )
    for n, unit_id in enumerate(IDS):
        for year in (2023, 2024, 2025):
            row = (f"T{year}{n}", unit_id, f"{year}-04-1{n}", "R. Reyes", f"S{n}", 40 - 2 * (year - 2022), 40)
            writer.writerow((*row, 27.5 + n / 100, -91.4))
    (tmp_path / "history.csv").write_text(history.getvalue(), "utf-8")
    shop = tmp_path / "shop"
    run_quietly([tmp_path / "history.csv"], shop, as_of=dt.date(2026, 3, 1))
    rows = list(csv.DictReader(io.StringIO((shop / "lists" / "visits_to_fill_in.csv").read_text("utf-8"))))
    assert len(rows) == len(IDS)
    assert not [row for row in rows if row["unit_id"][0] in "=+@" or row["unit_id"] == "-C3"]
    with (tmp_path / "filled in.csv").open("w", encoding="utf-8", newline="") as file:
        filled = csv.DictWriter(file, list(rows[0]), delimiter=";")
        filled.writeheader()
        filled.writerows(row | {"herm_uf": "37.5"} for row in rows)
    run_quietly([tmp_path / "filled in.csv"], shop, as_of=dt.date(2026, 4, 1))
    got = ask(shop, "visits", "units")
    assert sorted(got["units"]["unit_id"]) == sorted(IDS)
    came = got["visits"].filter(pl.col("source_file") == "filled in.csv")
    assert sorted(came["unit_id"]) == sorted(IDS)
    assert came["herm_uf"].to_list() == [37.5] * len(IDS)
