"""A generation appears whole or not at all; the list is safe to open in a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from pathlib import Path

import polars as pl
import pytest

from pipeline import publish as module
from pipeline.config import Settings
from pipeline.errors import StoreError, UsageError
from pipeline.publish import Published, publish, watchlist_csv
from tests.reports.fleet import Fleet, fleet_of_one, small_fleet


def generations(shop: Path) -> list[str]:
    return sorted(path.name for path in (shop / "dashboards").iterdir() if path.is_dir() and path.name != "assets")


def unit_pages(made: Published) -> list[Path]:
    return list((made.index.parent / made.generation / "unit").glob("*.html"))


def changed(n: int) -> Fleet:
    fleet = fleet_of_one(flagged=True)
    fleet.con.execute("update core.unit_forecast set p_failure = ?", [0.1 * n])
    return fleet


def test_the_previous_generation_stays_and_older_ones_go(tmp_path: Path) -> None:
    made = [publish(changed(n).query, tmp_path, Settings()).generation for n in range(1, 5)]
    assert len(set(made)) == 4
    assert generations(tmp_path) == sorted(made[-2:])


def test_the_same_again_changes_nothing(tmp_path: Path) -> None:
    first = publish(changed(1).query, tmp_path, Settings())
    second = publish(changed(2).query, tmp_path, Settings())
    again = publish(changed(2).query, tmp_path, Settings())
    assert again == second
    assert generations(tmp_path) == sorted([first.generation, second.generation])


def test_a_page_taken_away_comes_back(tmp_path: Path) -> None:
    done = publish(changed(1).query, tmp_path, Settings())
    page = tmp_path / "dashboards" / done.generation / "watch-list.html"
    page.unlink()
    publish(changed(1).query, tmp_path, Settings())
    assert page.is_file()


def test_a_failure_leaves_the_earlier_pages(tmp_path: Path) -> None:
    publish(changed(1).query, tmp_path, Settings())
    before = (tmp_path / "dashboards" / "index.html").read_bytes()
    fleet = changed(2)

    def breaks(name: str, values: Mapping[str, object]) -> pl.DataFrame:
        if name == "unit_parts":
            raise RuntimeError("gone")
        return fleet.query(name, values)

    with pytest.raises(RuntimeError):
        publish(breaks, tmp_path, Settings())
    assert (tmp_path / "dashboards" / "index.html").read_bytes() == before
    assert len(generations(tmp_path)) == 1


def test_a_folder_that_cannot_be_written_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "dashboards").write_text("a file where the folder should be")
    with pytest.raises(StoreError) as caught:
        publish(changed(1).query, tmp_path, Settings())
    assert caught.value.exit_status == 4
    assert str(tmp_path) not in caught.value.sentence()


def test_index_is_the_last_thing_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    written: list[str] = []
    plain = module._write_bytes

    def noting(path: Path, content: bytes) -> None:
        written.append(path.name)
        plain(path, content)

    monkeypatch.setattr(module, "_write_bytes", noting)
    publish(changed(1).query, tmp_path, Settings())
    pages = [name for name in written if name.endswith(".html")]
    assert pages[-1] == "index.html"
    assert pages.count("index.html") == 1


def test_the_chart_library_is_written_once_for_all(tmp_path: Path) -> None:
    for n in (1, 2):
        publish(changed(n).query, tmp_path, Settings())
    assert len(list(tmp_path.rglob("plotly*.js"))) == 1


def test_any_active_unit_gets_a_page_by_its_id(tmp_path: Path) -> None:
    fleet = small_fleet(40, hostile=False)
    plain = publish(fleet.query, tmp_path, Settings(), most_unit_pages=0)
    assert len(unit_pages(plain)) == plain.flagged
    unflagged = fleet.con.sql("select unit_id from unit_risk where not flagged limit 1").fetchall()[0][0]
    asked = publish(fleet.query, tmp_path, Settings(), most_unit_pages=0, asked_for=(unflagged,))
    assert len(unit_pages(asked)) == plain.flagged + 1
    with pytest.raises(UsageError):
        publish(fleet.query, tmp_path, Settings(), asked_for=("no such unit",))


def test_the_list_runs_no_formula_and_keeps_its_order(tmp_path: Path) -> None:
    fleet = small_fleet()
    publish(fleet.query, tmp_path, Settings())
    text = (tmp_path / "lists" / "watchlist.csv").read_text("utf-8")
    rows = list(csv.DictReader(io.StringIO(text)))
    flagged = fleet.con.sql("select unit_id, p_failure from unit_risk where flagged order by rank").fetchall()
    assert [row["unit_id"].removeprefix("'") for row in rows] == [unit_id for unit_id, _ in flagged]
    assert [float(row["p_failure"]) for row in rows] == pytest.approx([p for _, p in flagged], abs=5e-5)
    assert not [cell for row in rows for cell in row.values() if cell.startswith(("=", "+", "-", "@"))]


def test_an_empty_list_still_has_its_header() -> None:
    assert watchlist_csv(Fleet().query("watch_list", {})).startswith("rank,unit_id,")
    assert "customer_name" not in watchlist_csv(Fleet().query("watch_list", {}), no_names=True)
