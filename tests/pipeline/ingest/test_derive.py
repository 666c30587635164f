"""Ids that an export lacks: the same thing gets the same id in every file."""

from __future__ import annotations

import datetime as dt

import polars as pl

from pipeline.ingest.derive import add_derived_ids, derivable, required_without_help


def visits(**columns: list[object]) -> pl.DataFrame:
    """Return visits with a line each."""
    frame = pl.DataFrame(columns)
    return frame.with_columns(pl.Series("source_line", range(2, 2 + frame.height), dtype=pl.Int64))


DAY = dt.date(2024, 3, 14)


def test_a_poor_shops_rows_get_all_three_ids() -> None:
    frame = visits(visit_date=[DAY, DAY], address=["1 Elm St.", "2 Elm St"], notes=["a", "b"])
    out, added, notes = add_derived_ids(frame, "visits")
    assert added == ("site_id", "unit_id", "visit_id")
    assert out.select("site_id", "unit_id", "visit_id").null_count().sum_horizontal()[0] == 0
    assert out["visit_id"].n_unique() == out["unit_id"].n_unique() == 2
    assert len(notes) == 3


def test_case_and_punctuation_of_an_address_make_no_other_unit() -> None:
    frame = visits(visit_date=[DAY, dt.date(2024, 5, 1)], address=["1 Elm St.", "1 ELM ST"])
    assert add_derived_ids(frame, "visits")[0]["unit_id"].n_unique() == 1


def test_a_street_written_out_or_shortened_is_one_address() -> None:
    hands = ["12 North Oak Street", "12 N. OAK ST.", "12 n oak st", "3 Eichenstraße", "3 Eichenstr.", "12 Oak St Apt 2"]
    out, _, _ = add_derived_ids(pl.DataFrame({"visit_date": ["2024-05-14"] * 6, "address": hands}), "visits")
    ids = out["unit_id"].to_list()
    assert len(set(ids[:3])) == len(set(ids[3:5])) == 1
    assert len(set(ids)) == 3


def test_the_serial_comes_before_the_address() -> None:
    frame = visits(visit_date=[DAY] * 3, address=["1 Elm", "1 Elm", "1 Elm"], serial=["ab 12", "AB12", None])
    ids = add_derived_ids(frame, "visits")[0]["unit_id"].to_list()
    assert ids[:2] == ["AB12", "AB12"]
    assert ids[2].startswith("unit-")


def test_two_units_of_one_house_are_told_by_their_location() -> None:
    frame = visits(visit_date=[DAY, DAY], address=["1 Elm", "1 Elm"], unit_location=["upstairs", "downstairs"])
    assert add_derived_ids(frame, "visits")[0]["unit_id"].n_unique() == 2


def test_two_visits_of_one_day_stay_two_and_repeats_stay_one() -> None:
    frame = visits(visit_date=[DAY] * 3, address=["1 Elm"] * 3, notes=["morning", "evening", "morning"])
    ids = add_derived_ids(frame, "visits")[0]["visit_id"].to_list()
    assert ids[0] == ids[2]
    assert ids[1] == f"{ids[0]}-2"


def test_ids_are_the_same_in_every_run() -> None:
    """sha256 of "1 elm" begins with the digits below (computed with coreutils)."""
    out = add_derived_ids(visits(visit_date=[DAY], address=["1 Elm"]), "visits")[0]
    assert out["unit_id"][0] == "unit-437b3fa2c5"
    assert out["site_id"][0] == "site-437b3fa2c5"


def test_nothing_to_derive_from_gives_no_id() -> None:
    frame = visits(visit_date=[DAY, DAY], address=["1 Elm", None])
    assert add_derived_ids(frame, "visits")[0]["unit_id"].to_list()[1] is None


def test_ids_that_are_there_are_left_alone() -> None:
    frame = visits(visit_id=["T1"], unit_id=["U1"], visit_date=[DAY])
    out, added, notes = add_derived_ids(frame, "visits")
    assert out.equals(frame.select(out.columns))
    assert (added, notes) == ((), ())


def test_an_id_column_that_is_wholly_empty_counts_as_lacking() -> None:
    frame = visits(
        visit_id=["T1", "T2"],
        unit_id=pl.Series([None, None], dtype=pl.String),
        visit_date=[DAY, DAY],
        address=["a", "b"],
    )
    assert add_derived_ids(frame, "visits")[1] == ("site_id", "unit_id")


def test_what_a_table_can_do_without() -> None:
    assert derivable("visits", frozenset({"visit_date", "customer_name"})) == {"visit_id", "unit_id"}
    assert required_without_help("visits", frozenset({"visit_date", "notes"})) == ("visit_id", "unit_id")
    assert required_without_help("units", frozenset({"serial"})) == ()
    assert required_without_help("parts", frozenset({"part", "serial_in"})) == ("visit_id",)
