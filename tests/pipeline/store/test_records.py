"""Rejects are listed once and leave the list when they are put right; imports add up."""

from __future__ import annotations

import datetime as dt
from typing import Any

import polars as pl
import pytest

from pipeline.errors import PipelineError
from pipeline.findings import FINDING_SCHEMA
from pipeline.store import load, records
from pipeline.store.query import query
from tests.pipeline.store.importer import NOW, frame_of

VISIT = {"visit_id": "V1", "unit_id": "U1", "visit_date": dt.date(2024, 5, 1)}


def finding(
    line: int = 2, scope: str = "value", field: str | None = "herm_uf", value: str = "x", **more: Any
) -> dict[str, Any]:
    told = {"source_file": "a.csv", "rule": "out-of-range", "message": "m", "advice": "a", "header": "H"}
    return {**told, "source_line": line, "scope": scope, "field": field, "value": value, **more}


def bring(con: Any, rows: list[dict[str, Any]], findings: list[dict[str, Any]], file: str = "a.csv") -> int:
    """Import a file of visits with its findings and return how many entries are new."""
    import_id = records.next_import_id(con)
    staged = load.stage(con, "visits", frame_of("visits", rows or [VISIT], file).head(len(rows)), import_id)
    merged = load.merge(con, staged, file=file, now=NOW)
    told = pl.DataFrame(
        findings,
        schema={
            **FINDING_SCHEMA,
            **({"record_digest": pl.String} if findings and "record_digest" in findings[0] else {}),
        },
    )
    new = records.record_findings(con, told, import_id, table="visits", file=file)
    bad = len({f["source_line"] for f in findings if f["scope"] == "row"})
    records.record_import(con, entry(import_id, file, merged.stored, merged.unchanged, bad))
    return new


def entry(
    import_id: int, file: str, stored: int, unchanged: int, rejected: int, read: int | None = None
) -> records.Import:
    total = stored + unchanged + rejected if read is None else read
    return records.Import(
        import_id,
        file,
        "visits",
        f"sha {import_id}",
        "map",
        "utf-8",
        None,
        ",",
        total,
        stored,
        unchanged,
        rejected,
        0,
        0,
        NOW,
    )


def unresolved(con: Any) -> list[tuple[Any, ...]]:
    rows = query(con, "rejects").filter(pl.col("resolved_at").is_null())
    return rows.select("source_file", "source_line", "scope", "field").sort(pl.all()).rows()


@pytest.fixture(autouse=True)
def begun(con):
    load.begin(con)


def test_counts_that_do_not_add_up_are_refused(con):
    with pytest.raises(PipelineError, match="3 records read but 2 accounted for"):
        records.record_import(con, entry(1, "a.csv", 1, 1, 0, read=3))


def test_file_is_known_by_content_and_mapping(con):
    records.record_import(con, entry(1, "a.csv", 1, 0, 0))
    assert records.already_imported(con, "sha 1", "map")
    assert not records.already_imported(con, "sha 1", "other map")
    assert not records.already_imported(con, "sha 2", "map")
    assert records.next_import_id(con) == 2


def test_corrected_row_is_stored_and_leaves_the_list(con):
    assert bring(con, [], [finding(scope="row", field="visit_id")]) == 1
    assert bring(con, [{**VISIT, "_file": "a.csv", "_line": 2}], [], "rejected/a.csv") == 0
    assert unresolved(con) == []
    assert query(con, "rejects")["resolved_at"].to_list() == [NOW]


def test_corrected_value_leaves_the_list_and_another_rejected_one_stays(con):
    row = {**VISIT, "herm_uf": None, "fan_uf": None, "_rejected": ["herm_uf", "fan_uf"]}
    bring(con, [row], [finding(), finding(field="fan_uf")])
    again = {**row, "herm_uf": 40.0, "_rejected": ["fan_uf"], "_file": "a.csv", "_line": 2}
    assert bring(con, [again], [finding(field="fan_uf")], "rejected/a.csv") == 0
    assert unresolved(con) == [("a.csv", 2, "value", "fan_uf")]


def test_uncorrected_row_adds_no_second_entry(con):
    bad = [finding(scope="row", field="visit_id")]
    bring(con, [], bad)
    assert bring(con, [], bad, "rejected/a.csv") == 0
    assert len(unresolved(con)) == 1


def test_good_line_of_another_month_under_the_same_name_resolves_nothing(con):
    bring(con, [{**VISIT, "_line": 3}], [finding(scope="row", field="visit_id")])
    bring(con, [{**VISIT, "visit_id": "June", "_line": 2}], [], "a.csv")
    assert len(unresolved(con)) == 1


def test_row_put_right_in_its_own_file_leaves_the_list(con):
    good = {**VISIT, "_line": 3}
    bring(con, [good], [finding(scope="row", field="visit_id")])
    bring(con, [good, {**VISIT, "visit_id": "V2", "_line": 2}], [], "a.csv")
    assert unresolved(con) == []


def test_bad_row_that_moved_in_its_own_file_stays_listed_once(con):
    bad = finding(scope="row", field="visit_id", record_digest="d")
    bring(con, [{**VISIT, "_line": 3}], [bad])
    rows = [{**VISIT, "visit_id": "V2", "_line": 2}, {**VISIT, "_line": 4}]
    bring(con, rows, [{**bad, "source_line": 3}], "a.csv")
    assert unresolved(con) == [("a.csv", 3, "row", "visit_id")]


def test_value_put_right_in_a_later_export_leaves_the_list_by_its_key(con):
    bring(con, [{**VISIT, "herm_uf": None, "_rejected": ["herm_uf"]}], [finding()])
    bring(con, [{**VISIT, "mode": "off"}], [], "without the column.csv")
    bring(con, [{**VISIT, "visit_id": "V2", "herm_uf": 40.0}], [], "another visit.csv")
    assert len(unresolved(con)) == 1
    bring(con, [{**VISIT, "herm_uf": 40.0}], [], "b.csv")
    assert unresolved(con) == []


def test_same_bad_value_in_a_later_export_is_listed_once(con):
    row = {**VISIT, "herm_uf": None, "_rejected": ["herm_uf"]}
    assert bring(con, [row], [finding()]) == 1
    moved = {**row, "_line": 9}
    assert bring(con, [moved], [finding(9, source_file="b.csv")], "b.csv") == 0
    assert bring(con, [moved], [finding(9, value="y", source_file="c.csv")], "c.csv") == 1


def test_same_bad_record_in_a_later_export_is_listed_once_by_its_digest(con):
    bad = finding(scope="row", field="visit_id", record_digest="d1")
    assert bring(con, [], [bad]) == 1
    assert bring(con, [], [{**bad, "source_line": 7, "source_file": "b.csv"}], "b.csv") == 0
    assert bring(con, [], [{**bad, "source_line": 8, "source_file": "b.csv", "record_digest": "d2"}], "b.csv") == 1


def test_bad_record_of_another_month_on_the_same_line_is_listed_too(con):
    bad = finding(scope="row", field="visit_id", value="")
    assert bring(con, [], [{**bad, "record_digest": "may"}]) == 1
    assert bring(con, [], [{**bad, "record_digest": "june"}]) == 1


def test_every_finding_of_one_file_is_listed(con):
    rows = [
        finding(scope="row", field="visit_id"),
        finding(scope="row", field="unit_id"),
        finding(3, scope="row", field="visit_id"),
    ]
    assert bring(con, [], rows) == 3


def test_suspects_of_the_files_fields_are_replaced_and_others_stay(con):
    staged = load.stage(con, "visits", frame_of("visits", [{**VISIT, "suction_psig": 1.0}]), 1)
    held = {"visit_id": "V1", "unit_id": "U1", "reason": "r", "message": "m"}
    for name in ("suction_psig", "herm_uf"):
        records.record_suspects(con, pl.DataFrame([{**held, "field": name}]), 1, [name])
    records.record_suspects(con, pl.DataFrame([{**held, "field": "suction_psig"}]).clear(), 1, staged.columns)
    assert query(con, "core.suspects")["field"].to_list() == ["herm_uf"]


def test_settings_are_kept_as_text(con):
    records.record_settings(con, {"costs.stop": 120.0, "shop.name": "x"})
    records.record_settings(con, {"costs.stop": 99.5})
    assert query(con, "core.settings").rows() == [("costs.stop", "99.5")]


def test_runs_are_counted_and_the_last_as_of_is_known(con):
    assert records.last_as_of(con) is None
    for day in (2, 1):
        records.record_run(con, {"started_at": NOW, "as_of": dt.date(2025, 1, day)})
    assert records.last_as_of(con) == dt.date(2025, 1, 1)
    assert query(con, "core.runs")["run_id"].sort().to_list() == [1, 2]
