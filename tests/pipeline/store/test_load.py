"""Clean rows merge by natural key as the contract's rules of import say."""

from __future__ import annotations

import datetime as dt
import itertools
from typing import Any

import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.errors import PipelineError
from pipeline.store import load
from pipeline.store.connect import open_store
from pipeline.store.query import query
from tests.pipeline.store.importer import NOW, frame_of, import_rows

MAY = dt.date(2024, 5, 1)
JUNE = dt.date(2024, 6, 1)


def visit(**fields: Any) -> dict[str, Any]:
    return {"visit_id": "V1", "unit_id": "U1", "visit_date": MAY, **fields}


def values(con: Any, table: str, *names: str) -> list[tuple[Any, ...]]:
    return query(con, table).select(names).sort(names, nulls_last=True).rows()


def test_column_the_file_lacks_stays_as_it_is(con, run):
    run(("visits", [visit(herm_uf=39.5, fan_uf=5.0)], "a.csv"))
    run(("visits", [visit(herm_uf=39.0)], "b.csv"))
    assert values(con, "visits", "herm_uf", "fan_uf") == [(39.0, 5.0)]


def test_blank_cell_clears_the_field(con, run):
    run(("visits", [visit(herm_uf=39.5)], "a.csv"))
    run(("visits", [visit(herm_uf=None)], "b.csv"))
    assert values(con, "visits", "herm_uf") == [(None,)]


def test_rejected_value_never_overwrites_a_stored_one(con, run):
    run(("visits", [visit(herm_uf=39.5, fan_uf=5.0)], "a.csv"))
    run(("visits", [visit(herm_uf=None, fan_uf=4.9, _rejected=["herm_uf"])], "b.csv"))
    assert values(con, "visits", "herm_uf", "fan_uf") == [(39.5, 4.9)]


def test_each_changed_field_is_kept_with_both_values(con, run):
    run(("visits", [visit(herm_uf=39.5, notes="x", mode=None)], "a.csv"))
    (merged,) = run(("visits", [visit(herm_uf=39.0, notes="x", mode="cooling")], "b.csv"))
    assert (merged.stored, merged.unchanged, merged.corrections) == (1, 0, 2)
    assert values(con, "corrections", "table_name", "key", "field", "old_value", "new_value", "import_id") == [
        ("visits", "V1 / U1", "herm_uf", "39.5", "39.0", 2),
        ("visits", "V1 / U1", "mode", None, "cooling", 2),
    ]


def test_exact_repeat_is_unchanged_and_keeps_its_origin(con, run):
    rows = [visit(herm_uf=39.5), visit(visit_id="V2", herm_uf=None)]
    run(("visits", rows, "a.csv"))
    (merged,) = run(("visits", rows, "b.csv"))
    assert (merged.stored, merged.unchanged, merged.corrections) == (0, 2, 0)
    assert {row[0] for row in values(con, "visits", "source_file")} == {"a.csv"}


def test_one_ticket_may_cover_two_units(con, run):
    run(("visits", [visit(), visit(unit_id="U2")], "a.csv"))
    assert values(con, "visits", "visit_id", "unit_id") == [("V1", "U1"), ("V1", "U2")]


def test_parts_without_a_unit_meet_their_own_key_again(con, run):
    part = {"visit_id": "V1", "part": "run_capacitor", "row_n": 1, "price": 10.0}
    named = {**part, "unit_id": "U1"}
    run(("parts", [part, {**part, "row_n": 2}], "a.csv"))
    merged = run(("parts", [{**part, "price": 12.0}], "b.csv"), ("parts", [named], "c.csv"))
    assert [(m.stored, m.corrections) for m in merged] == [(1, 1), (1, 0)]
    assert values(con, "parts", "unit_id", "row_n", "price") == [("U1", 1, 10.0), (None, 1, 12.0), (None, 2, 10.0)]


def test_visit_to_an_unknown_unit_creates_the_unit(con, run):
    run(("visits", [visit(unit_id="U9")], "a.csv"))
    assert values(con, "units", "unit_id", "make") == [("U9", None)]


def test_units_file_wins_over_visits_field_by_field(con, run):
    run(
        ("visits", [visit(make="said on the visit", model="M1")], "a.csv"),
        ("units", [{"unit_id": "U1", "make": "filed", "model": None}], "b.csv"),
    )
    assert values(con, "units", "make", "model", "source_file") == [("filed", "M1", "b.csv")]


def test_among_visits_the_newest_with_a_value_wins(con, run):
    run(("visits", [visit(visit_id="V2", visit_date=JUNE, make=None), visit(make="older")], "a.csv"))
    assert values(con, "units", "make") == [("older",)]
    run(("visits", [visit(visit_id="V3", visit_date=JUNE, make="newer")], "b.csv"))
    assert values(con, "units", "make") == [("newer",)]
    run(
        ("visits", [visit(visit_id="V0", visit_date=dt.date(2020, 1, 1), make="late arrival of an old visit")], "c.csv")
    )
    assert values(con, "units", "make") == [("newer",)]


def test_unit_changed_by_a_visit_is_corrected_at_the_visit(con, run):
    run(("visits", [visit(make="Acme")], "a.csv"))
    run(("visits", [visit(make="Bolt")], "b.csv"))
    assert values(con, "corrections", "table_name", "field", "old_value") == [("visits", "make", "Acme")]
    assert values(con, "units", "make") == [("Bolt",)]


def test_sites_come_from_sites_then_units_then_visits(con, run):
    run(
        ("visits", [visit(site_id="S1", city="visit", state="visit", phone="visit")], "a.csv"),
        ("units", [{"unit_id": "U1", "site_id": "S1", "city": "unit", "state": "unit"}], "b.csv"),
        ("sites", [{"site_id": "S1", "city": "site"}, {"site_id": "S2", "city": "no unit yet"}], "c.csv"),
    )
    assert values(con, "sites", "site_id", "city", "state", "phone") == [
        ("S1", "site", "unit", "visit"),
        ("S2", "no unit yet", None, None),
    ]


def test_units_at_one_address_without_site_ids_share_a_site(con, run):
    rows = [
        visit(address="1 Elm St", customer_name="A"),
        visit(unit_id="U2", address="1 ELM ST ", customer_name=None),
        visit(unit_id="U3", address=None, customer_name="B"),
        visit(unit_id="U4", address=None, customer_name=None),
    ]
    run(("visits", rows, "a.csv"))
    site = dict(values(con, "units", "unit_id", "site_id"))
    assert site["U1"] == site["U2"]
    assert site["U1"] is not None
    assert (site["U3"], site["U4"]) == ("site-of-U3", None)
    assert len(values(con, "sites", "site_id")) == 2


def test_site_nothing_speaks_of_any_more_is_gone(con, run):
    run(("visits", [visit(site_id="S1", city="x")], "a.csv"))
    run(("visits", [visit(site_id="S2", city="x")], "b.csv"))
    assert values(con, "sites", "site_id") == [("S2",)]


def test_touched_units_reach_beyond_the_file(con):
    load.begin(con)
    import_rows(con, "visits", [visit(), visit(visit_id="V2", unit_id="U2"), visit(visit_id="V3", unit_id="U3")])
    load.settle(con)
    load.finish(con)
    load.begin(con)
    import_rows(con, "visits", [visit(unit_id="U4")], "b.csv")  # a second unit on the ticket of U1
    import_rows(con, "parts", [{"visit_id": "V2", "part": "contactor", "row_n": 1}], "c.csv")
    import_rows(con, "parts", [{"visit_id": "V9", "part": "contactor", "row_n": 1}], "d.csv")
    assert load.settle(con).to_list() == ["U1", "U2", "U4"]


def test_rows_that_changed_nothing_touch_no_unit(con, run):
    run(("visits", [visit(herm_uf=40.0)], "a.csv"))
    load.begin(con)
    import_rows(con, "visits", [visit(herm_uf=40.0)], "b.csv")
    assert load.settle(con).to_list() == []


def test_key_twice_in_staging_is_refused(con):
    load.begin(con)
    staged = load.stage(con, "visits", frame_of("visits", [visit(), visit(mode="off")]), 1)
    with pytest.raises(PipelineError, match="stored twice"):
        load.merge(con, staged, file="a.csv", now=NOW)


def test_run_that_fails_half_way_leaves_the_old_rows(path):
    with open_store(path, threads=1) as con:
        load.begin(con)
        import_rows(con, "visits", [visit(herm_uf=40.0)])
        load.settle(con)
        load.finish(con)

    def interrupted() -> None:
        with open_store(path, threads=1) as con:
            load.begin(con)
            import_rows(con, "visits", [visit(herm_uf=1.0), visit(visit_id="V2")], "b.csv")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        interrupted()
    with open_store(path, read_only=True, threads=1) as con:
        assert values(con, "visits", "visit_id", "herm_uf") == [("V1", 40.0)]
        assert values(con, "imports", "import_id") == [(1,)]


def test_as_of_is_the_newest_visit_not_after_today(con, run):
    today = dt.date(2024, 5, 20)
    assert load.as_of(con, None, today) == today
    run(("visits", [visit(), visit(visit_id="V2", visit_date=JUNE)], "a.csv"))
    assert load.as_of(con, None, today) == MAY
    assert load.as_of(con, dt.date(2023, 1, 1), today) == dt.date(2023, 1, 1)


def test_text_that_looks_like_sql_is_text(con, run):
    nasty = "'); drop table imports; -- {{ x }}"
    run(("visits", [visit(visit_id=nasty, notes=nasty, make=nasty)], "'; drop.csv"))
    assert values(con, "visits", "visit_id", "notes") == [(nasty, nasty)]
    assert values(con, "units", "make") == [(nasty,)]


# Files that agree with each other: whichever comes first, the store ends the same.
def _truth(draw: Any) -> dict[str, dict[str, Any]]:
    text = st.sampled_from([None, "a", "b"])
    number = st.sampled_from([None, 1.0, 2.0])
    units = [f"U{n}" for n in range(draw(st.integers(1, 3)))]
    visits = {}
    for n in range(draw(st.integers(1, 4))):
        unit = draw(st.sampled_from(units))
        visits[f"V{n}"] = {
            "visit_id": f"V{draw(st.integers(0, n))}x",
            "unit_id": unit,
            "visit_date": draw(st.sampled_from([MAY, JUNE])),
            "herm_uf": draw(number),
            "make": draw(text),
            "site_id": draw(text),
            "city": draw(text),
            "address": draw(text),
        }
    keyed = {(row["visit_id"], row["unit_id"]): row for row in visits.values()}
    filed = {u: {"unit_id": u, "make": draw(text), "model": draw(text), "site_id": draw(text)} for u in units[:2]}
    sites = {s: {"site_id": s, "city": draw(text), "phone": draw(text)} for s in ("a", "c")}
    tickets = sorted({visit_id for visit_id, _ in keyed} | {"V9x"})
    named = {ticket: draw(st.sampled_from([None, *units])) for ticket in tickets}
    parts = {t: {"visit_id": t, "unit_id": u, "part": "contactor", "row_n": 1, "price": 1.0} for t, u in named.items()}
    readings = {t: {"visit_id": t, "unit_id": u, "measure": "fan_uf", "value": "5"} for t, u in named.items()}
    return {"visits": keyed, "units": filed, "sites": sites, "parts": parts, "readings": readings}


KEYS = {
    "visits": ["visit_id", "unit_id", "visit_date"],
    "units": ["unit_id"],
    "sites": ["site_id"],
    "parts": ["visit_id", "unit_id", "part", "row_n"],
    "readings": ["visit_id", "unit_id", "measure", "value"],
}


@st.composite
def agreeing_files(draw: Any) -> list[tuple[str, list[dict[str, Any]], str]]:
    truth = _truth(draw)
    files = []
    for n in range(draw(st.integers(2, 4))):
        table = draw(st.sampled_from(["visits", "visits", "units", "sites", "parts", "readings"]))
        rows = list(truth[table].values())
        key = KEYS[table]
        others = [name for name in rows[0] if name not in key]
        chosen = key + (draw(st.lists(st.sampled_from(others), unique=True)) if others else [])
        kept = draw(st.lists(st.sampled_from(range(len(rows))), min_size=1, unique=True))
        files.append((table, [{name: rows[i][name] for name in chosen} for i in kept], f"f{n}.csv"))
    return files


ANSWERS = {
    "visits": ["visit_id", "unit_id", "visit_date", "herm_uf"],
    "units": ["unit_id", "site_id", "make", "model"],
    "sites": ["site_id", "city", "phone", "address"],
    "int_parts_placed": ["visit_id", "unit_id", "price", "waiting_for"],
    "int_readings_placed": ["visit_id", "unit_id", "value", "waiting_for"],
}


FREELY = settings(max_examples=8, deadline=None, suppress_health_check=list(HealthCheck))


@FREELY
@given(agreeing_files(), st.booleans())
def test_order_of_import_changes_nothing_where_files_agree(con, files, settled_between):
    seen = []
    for order in itertools.islice(itertools.permutations(files), 0, 24, 7):
        load.begin(con)
        for file in order:
            import_rows(con, *file)
            if settled_between:
                load.settle(con)
        load.settle(con)
        seen.append({name: query(con, name).select(columns).sort(columns).rows() for name, columns in ANSWERS.items()})
        con.rollback()
    assert all(answer == seen[0] for answer in seen[1:])


@FREELY
@given(agreeing_files())
def test_the_same_files_again_change_nothing(con, files):
    load.begin(con)
    for file in files:
        import_rows(con, *file)
    load.settle(con)
    before = {name: query(con, name).sort(pl.all()) for name in ("visits", "units", "sites", "corrections")}
    for file in files:
        assert import_rows(con, *file).stored == 0
    load.settle(con)
    for name, frame in before.items():
        assert query(con, name).sort(pl.all()).equals(frame), name
    con.rollback()


@st.composite
def quarrelling_files(draw: Any) -> list[list[dict[str, Any]]]:
    """Files of visits that contradict each other, with values rejected here and there."""
    files = []
    for _ in range(draw(st.integers(1, 4))):
        columns = draw(st.lists(st.sampled_from(["herm_uf", "mode", "make"]), unique=True))
        words = {"herm_uf": st.sampled_from([None, 1.0, 2.0])}
        rows = []
        for key in draw(st.lists(st.sampled_from("ABC"), unique=True, min_size=1)):
            refused = draw(st.lists(st.sampled_from(columns), unique=True)) if columns else []
            told = {name: draw(words.get(name, st.sampled_from([None, "cooling", "off"]))) for name in columns}
            blank = {name: None if name in refused else value for name, value in told.items()}
            rows.append({"visit_id": key, "unit_id": "U", "visit_date": MAY, **blank, "_rejected": refused})
        files.append(rows)
    return files


@FREELY
@given(quarrelling_files())
def test_store_ends_as_the_rules_read_cell_by_cell(con, files):
    """The rules of import again, one cell at a time: absent stays, rejected stays, blank clears, the newer wins."""
    expected: dict[str, dict[str, Any]] = {}
    changes = 0
    load.begin(con)
    for rows in files:
        stored = 0
        for row in rows:
            known = expected.get(row["visit_id"])
            cells = expected.setdefault(row["visit_id"], dict.fromkeys(("herm_uf", "mode", "make")))
            before = dict(cells)
            cells.update({n: v for n, v in row.items() if n in cells and n not in row["_rejected"]})
            stored += known is None or cells != before
            changes += 0 if known is None else sum(cells[n] != before[n] for n in cells)
        assert import_rows(con, "visits", rows).stored == stored
    found = (
        query(con, "imported.visits")
        .select("visit_id", "herm_uf", "mode", "make")
        .rows_by_key("visit_id", named=True, unique=True)
    )
    assert found == expected
    assert query(con, "corrections").height == changes
    con.rollback()
