"""The poorer forms of the rich shop carry the same cells as its tidy form."""

from __future__ import annotations

import csv
import io

import polars as pl

from sample_exports.generator import variants

Tables = dict[str, pl.DataFrame]


def _rows(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode())))


def test_tidy_files_read_back_to_the_tables(shop: Tables) -> None:
    visits = _rows(variants.tidy(shop)["visits.csv"])
    assert len(visits) == len(shop["visits"])
    assert sum(bool(row["herm_uf"]) for row in visits) == shop["visits"]["herm_uf"].count()


def test_line_items_fold_back_to_the_visits_and_their_parts(shop: Tables) -> None:
    rows = _rows(variants.line_items(shop)["line_items.csv"])
    line_columns = {"Item", "Qty", "Price"}
    folded = {tuple((k, v) for k, v in row.items() if k not in line_columns) for row in rows}
    assert len(folded) == len(shop["visits"])
    assert len(rows) == len(shop["visits"]) + len(shop["parts"])
    duals = shop["parts"].filter(pl.col("cap_herm_uf").is_not_null(), pl.col("cap_fan_uf").is_not_null())
    assert sum("/" in row["Item"] and row["Item"].startswith("Run capacitor") for row in rows) == len(duals)


def test_tickets_of_two_units_have_both(shop: Tables) -> None:
    rows = _rows(variants.two_units(shop)["tickets.csv"])
    units = [(row["Ticket #"], row[f"Unit {n} ID"]) for row in rows for n in (1, 2) if row[f"Unit {n} ID"]]
    assert sorted(units) == sorted(shop["visits"].select("visit_id", "unit_id").iter_rows())
    assert sum(bool(row["Unit 2 ID"]) for row in rows) > 50


def test_zero_filled_columns_have_no_blanks(shop: Tables) -> None:
    rows = _rows(variants.zero_filled(shop)["visits.csv"])
    assert all(row[name] for row in rows for name in ("herm_uf", "fan_uf", "suction_psig", "return_wb_f"))
    genuine = shop["visits"].filter(pl.col("herm_uf") == 0.0)
    assert genuine.height > 3  # true opens hide among the zeros
