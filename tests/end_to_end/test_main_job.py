"""The main job on the sample exports: everything accounted for, nothing doubled, the contract's views filled."""

from __future__ import annotations

import datetime as dt
import shutil
from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest

from pipeline.commands import Asked, backtest_lines, plan_again, publish_again
from pipeline.errors import NothingUsable, StoreError, UsageError
from pipeline.store.connect import open_store
from tests.end_to_end.conftest import SAMPLES, TODAY, ask, run_quietly

Answers = Callable[[str], pl.DataFrame]
CONTRACT_VIEWS = {
    "imports": "import_id file sha256 encoding delimiter rows_read rows_stored rows_unchanged rows_rejected "
    "rows_skipped values_rejected imported_at",
    "rejects": "import_id source_file source_line scope field value rule message resolved_at",
    "corrections": "table_name key field old_value new_value import_id",
    "capacitor_readings": "unit_id visit_id visit_date section series rated_uf rated_source measured_uf method "
    "drift_pct out_of_tolerance suspect",
    "capacitor_forecast": "unit_id section as_of drift_pct drift_pct_per_year p_out_by_season_start "
    "p_out_by_season_end out_of_tolerance_on out_earliest out_latest",
    "charge_readings": "unit_id visit_id visit_date suction_saturation_f liquid_saturation_f superheat_f "
    "target_superheat_f superheat_deviation_f subcooling_f target_subcooling_f subcooling_deviation_f "
    "temperature_split_f charge_verdict borderline not_testable_because likely_fault p_fault next_reading "
    "charge_level_low_pct charge_level_high_pct",
    "unit_risk": "unit_id as_of season_start season_end last_visit_on p_failure p_low p_high rank flagged "
    "leading_reason reasons expected_cost",
    "risk_history": "unit_id as_of p_failure flagged",
}
STABLE = ["visits", "units", "sites", "parts", "recommendations", "readings", "rejects", "imports", "unit_risk"]


@pytest.mark.parametrize("view", CONTRACT_VIEWS)
def test_each_view_stands_under_its_name_with_its_columns(answers: Answers, view: str) -> None:
    assert set(CONTRACT_VIEWS[view].split()) <= set(answers(view).columns)


@pytest.mark.parametrize("table", ["visits", "units", "sites", "parts", "recommendations", "readings"])
def test_imported_tables_name_the_line_each_row_came_from(answers: Answers, table: str) -> None:
    frame = answers(table)
    assert {"source_file", "source_line", "import_id"} <= set(frame.columns)
    assert frame.height > 0


def test_every_record_of_every_file_is_accounted_for(answers: Answers) -> None:
    imports = answers("imports")
    total = pl.sum_horizontal("rows_stored", "rows_unchanged", "rows_rejected", "rows_skipped")
    assert imports.filter(total != pl.col("rows_read")).is_empty()
    assert imports.height == len(list(SAMPLES.glob("*.csv")))


def test_every_injected_fault_is_refused_on_its_line_and_nothing_else_is(answers: Answers) -> None:
    truth = pl.read_csv(SAMPLES / ".truth" / "faults.csv", infer_schema=False).filter(
        pl.col("scope").is_in(["row", "value"])
    )
    injected = set(truth.select("file", pl.col("line").cast(pl.Int64), "scope").rows())
    refused = set(answers("rejects").select("source_file", "source_line", "scope").rows())
    assert refused == injected


def test_the_season_is_the_next_to_end_and_the_day_is_the_newest_visit(answers: Answers) -> None:
    risk = answers("unit_risk")
    newest = answers("visits").get_column("visit_date").max()
    assert risk.select("as_of", "season_start", "season_end").unique().rows() == [
        (newest, dt.date(2026, 5, 1), dt.date(2026, 9, 30))
    ]


def test_each_active_unit_has_one_chance_with_an_interval_around_it(answers: Answers) -> None:
    risk = answers("unit_risk")
    units = answers("units")
    seen = answers("visits").get_column("unit_id").unique().implode()
    as_of = risk.get_column("as_of").item(0)
    active = units.filter(
        pl.col("unit_id").is_in(seen) & (pl.col("retired_on").is_null() | (pl.col("retired_on") > as_of))
    )
    assert sorted(risk["unit_id"]) == sorted(active["unit_id"])
    assert risk.filter(~pl.col("p_failure").is_between(pl.col("p_low"), pl.col("p_high"))).is_empty()
    assert risk.filter((pl.col("p_low") <= 0) | (pl.col("p_high") >= 1)).is_empty()
    assert risk["rank"].sort().to_list() == list(range(1, risk.height + 1))
    assert risk.sort("p_failure", "unit_id", descending=[True, False])["rank"].is_sorted()
    words = risk.drop_nulls("leading_reason")["leading_reason"].str.extract(r"^([a-z_]+):")
    assert words.null_count() == 0


def test_the_same_files_again_change_nothing_and_are_not_read(sample_shop: Path, tmp_path: Path) -> None:
    shop = tmp_path / "shop"
    shutil.copytree(sample_shop, shop)
    before = ask(shop, *STABLE)
    index = (shop / "dashboards" / "index.html").read_bytes()
    summary = run_quietly([SAMPLES], shop)
    after = ask(shop, *STABLE)
    for name in STABLE:
        assert before[name].equals(after[name]), f"{name} changed"
    assert "not read again" in summary.lines[0]
    assert (shop / "dashboards" / "index.html").read_bytes() == index


@pytest.mark.thorough
def test_files_in_increments_answer_as_the_whole_does(sample_shop: Path, tmp_path: Path) -> None:
    shop = tmp_path / "shop"
    names = sorted(file.name for file in SAMPLES.glob("*.csv"))
    for batch in (names[5:9], names[:5], names[9:]):
        run_quietly([SAMPLES / name for name in batch], shop)
    for name in ("visits", "units", "sites", "parts", "capacitor_readings", "charge_readings", "unit_risk"):
        whole, parts = ask(sample_shop, name)[name], ask(shop, name)[name]
        left_out = [c for c in ("import_id",) if c in whole.columns]
        key = [c for c in whole.columns if c not in left_out]
        assert whole.select(key).sort(key).equals(parts.select(key).sort(key)), f"{name} differs"


@pytest.mark.thorough
def test_a_corrected_reject_comes_in_and_leaves_the_list(sample_shop: Path, tmp_path: Path) -> None:
    shop = tmp_path / "shop"
    shutil.copytree(sample_shop, shop)
    before = ask(shop, "rejects", "visits")
    listed = pl.read_csv(shop / "rejected" / "visits_2020.csv", infer_schema=False)
    late = pl.col("rule").str.contains("visit-date-too-late")
    line = int(listed.filter(late)["source_line"].item())
    mended = listed.with_columns(
        visit_date=pl.when(late).then(pl.col("visit_date").str.replace("2062", "2020")).otherwise("visit_date")
    )
    (tmp_path / "put right.csv").write_bytes(mended.write_csv(separator=";").encode("utf-16"))
    run_quietly([tmp_path / "put right.csv"], shop)
    after = ask(shop, "rejects", "visits")
    assert after["visits"].height == before["visits"].height + 1
    assert after["rejects"].height == before["rejects"].height
    closed = after["rejects"].filter(pl.col("resolved_at").is_not_null())
    assert closed.select("source_file", "source_line").unique().rows() == [("visits_2020.csv", line)]
    left = pl.read_csv(shop / "rejected" / "visits_2020.csv", infer_schema=False)
    assert left.height == listed.height - 1


def test_a_list_that_the_user_edits_is_left_alone(sample_shop: Path, tmp_path: Path) -> None:
    shop = tmp_path / "shop"
    shutil.copytree(sample_shop, shop)
    edited = shop / "rejected" / "visits_2020.csv"
    edited.write_text(edited.read_text("utf-8") + "half done\n", "utf-8")
    text = edited.read_text("utf-8")
    (tmp_path / "more.csv").write_text("visit_id,unit_id,visit_date\nnew-1,U-0001,2026-03-01\n", "utf-8")
    run_quietly([tmp_path / "more.csv"], shop)
    assert edited.read_text("utf-8") == text


@pytest.mark.thorough
def test_a_visit_after_as_of_is_stored_and_left_out(sample_shop: Path, tmp_path: Path) -> None:
    shop = tmp_path / "shop"
    shutil.copytree(sample_shop, shop)
    run_quietly([SAMPLES], shop, as_of=dt.date(2025, 7, 1))
    got = ask(shop, "visits", "unit_risk", "capacitor_readings")
    assert got["visits"].filter(pl.col("visit_date") > dt.date(2025, 7, 1)).height > 0
    assert got["capacitor_readings"].filter(pl.col("visit_date") > dt.date(2025, 7, 1)).is_empty()
    assert got["unit_risk"]["as_of"].unique().to_list() == [dt.date(2025, 7, 1)]
    assert got["unit_risk"]["season_end"].unique().to_list() == [dt.date(2025, 9, 30)]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "empty"),
        (b"PK\x03\x04\x14\x00\x06\x00", "save it as CSV"),
        (b"unit_id,make\n,Orlo\n", "no visit could be used"),
        (b"visit_id,unit_id,visit_date\n1,u,2062-01-01\n", r"export\.csv line 2, .*2062-01-01"),
    ],
)
def test_nothing_usable_is_one_sentence_and_leaves_no_trace(tmp_path: Path, content: bytes, said: str) -> None:
    (tmp_path / "export.csv").write_bytes(content)
    shop = tmp_path / "shop"
    with pytest.raises(NothingUsable, match=said) as caught:
        run_quietly([tmp_path / "export.csv"], shop)
    assert "\n" not in caught.value.sentence()
    assert not (shop / "dashboards" / "index.html").exists()


FIRST = {
    "parts.csv": "Ticket,Unit ID,Part,Cost\nT1,U1,contactor,20\nT2,U1,run_capacitor,x9\n",
    "units.csv": "Unit ID,Make,Installed\nU1,Orlo,2015-06-01\n",
}
VISITS = "Ticket,Unit ID,Date,Herm uF,Rated herm uF\nT1,U1,2025-04-01,38,40\nT2,U1,2025-05-01,40,40\n"


def test_files_that_come_before_any_visit_wait_for_it(tmp_path: Path) -> None:
    """Contract: parts of an unknown visit are stored and join when it comes; import order changes nothing else."""
    shop, again = tmp_path / "shop", tmp_path / "again"
    for name, text in FIRST.items():
        (tmp_path / name).write_text(text, "utf-8")
        first = run_quietly([tmp_path / name], shop)
        assert "stored" in first.lines[0]
        assert first.lines[-1].startswith("no visits are stored yet, so there are no pages")
        assert first.rejected == (name == "parts.csv")
    assert run_quietly([tmp_path / "parts.csv"], shop).lines[0].startswith("1 files already imported")
    assert not (shop / "dashboards" / "index.html").exists()
    assert (shop / "rejected" / "parts.csv").exists()
    with pytest.raises(NothingUsable, match="no visits yet"):
        publish_again(shop, units=(), no_names=False)
    with pytest.raises(NothingUsable, match="no visits yet"):
        plan_again(shop, Asked(), say=print)
    (tmp_path / "visits.csv").write_text(VISITS, "utf-8")
    assert run_quietly([tmp_path / "visits.csv"], shop).lines[-1].endswith("pages")
    run_quietly([tmp_path / name for name in (*FIRST, "visits.csv")], again)
    tables = ["visits", "units", "parts", "capacitor_readings", "warranty", "unit_risk"]
    came_apart, together = ask(shop, *tables), ask(again, *tables)
    for name in tables:
        numbered = [column for column in together[name].columns if column == "import_id"]
        assert came_apart[name].drop(numbered).equals(together[name].drop(numbered)), name
    assert together["parts"].height == 2


def test_parts_beside_visits_that_cannot_be_used_are_not_kept(tmp_path: Path) -> None:
    """The visits were meant: nothing is changed, so that one corrected run brings all."""
    (tmp_path / "parts.csv").write_text(FIRST["parts.csv"], "utf-8")
    (tmp_path / "visits.csv").write_text("Ticket,Unit ID,Date\nT1,U1,2062-01-01\n", "utf-8")
    with pytest.raises(NothingUsable, match="2062-01-01"):
        run_quietly([tmp_path / "parts.csv", tmp_path / "visits.csv"], tmp_path / "shop")
    assert ask(tmp_path / "shop", "imports")["imports"].is_empty()


def test_bad_input_leaves_the_earlier_dashboards_and_store_as_they_were(sample_shop: Path, tmp_path: Path) -> None:
    shop = tmp_path / "shop"
    shutil.copytree(sample_shop, shop)
    before = ask(shop, *STABLE)
    pages = {file: file.read_bytes() for file in (shop / "dashboards").rglob("*.html")}
    (tmp_path / "allbad.csv").write_text("visit_id,unit_id,visit_date\n1,,2020-01-01\n", "utf-8")
    (shop / "settings.toml").write_text("[season\n", "utf-8")
    with pytest.raises(UsageError):
        run_quietly([tmp_path / "allbad.csv"], shop)
    assert {file: file.read_bytes() for file in (shop / "dashboards").rglob("*.html")} == pages
    after = ask(shop, *STABLE)
    assert all(before[name].equals(after[name]) for name in STABLE)


def test_a_shop_folder_that_cannot_hold_pages_is_refused_before_anything_is_stored(tmp_path: Path) -> None:
    shop = tmp_path / "shop"
    shop.mkdir()
    (shop / "dashboards").write_text("not a folder", "utf-8")
    with pytest.raises(StoreError, match="cannot be written"):
        run_quietly([SAMPLES], shop)
    assert not (shop / "shop.duckdb").exists()
    with pytest.raises(StoreError, match="cannot be written"):  # nor where a file stands in the folder's place
        run_quietly([SAMPLES], shop / "dashboards")


def test_a_round_without_a_store_is_refused_and_makes_none(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="no store") as caught:
        plan_again(tmp_path / "nowhere", Asked(), say=lambda _: None)
    assert caught.value.slug == "store-missing"
    assert not (tmp_path / "nowhere").exists()
    turned = Asked(first=dt.date(2026, 3, 2), last=dt.date(2026, 3, 1))
    with pytest.raises(UsageError, match="is later than"):
        plan_again(tmp_path / "nowhere", turned, say=lambda _: None)


@pytest.mark.parametrize(
    "text",
    [
        "date,customer,address,job,notes,total\n",
        "Date,Customer,Address,Job #,Notes,Total\n",
    ],
)
def test_a_poor_shops_single_file_gives_a_useful_first_page(tmp_path: Path, text: str) -> None:
    rows = [
        f"2025-0{month}-1{month},Ilka Venn,{month} Quarry Lane,J-{month},no cooling - replaced cap,{200 + month}\n"
        for month in range(1, 8)
    ]
    (tmp_path / "jobs.csv").write_text(text + "".join(rows), "utf-8")
    shop = tmp_path / "shop"
    run_quietly([tmp_path / "jobs.csv"], shop)
    got = ask(shop, "visits", "unit_risk")
    assert got["visits"].height == 7
    assert got["unit_risk"].height == 7
    page = (shop / "dashboards" / "index.html").read_text("utf-8")
    assert "Ilka Venn" in page or "Quarry Lane" in page


def test_a_fleet_of_one_unit_with_one_visit_gets_its_pages(tmp_path: Path) -> None:
    (tmp_path / "one.csv").write_text("visit_id,unit_id,visit_date\n1,u,2025-04-01\n", "utf-8")
    run_quietly([tmp_path / "one.csv"], tmp_path / "shop", today=TODAY)
    assert ask(tmp_path / "shop", "unit_risk")["unit_risk"].height == 1
    assert (tmp_path / "shop" / "dashboards" / "index.html").exists()


@pytest.mark.thorough
def test_rows_of_another_program_are_worked_out_again_before_pages_are_made_of_them(tmp_path: Path) -> None:
    (tmp_path / "one.csv").write_text("visit_id,unit_id,visit_date,herm_uf\n1,u,2025-04-01,39.1\n", "utf-8")
    shop = tmp_path / "shop"
    run_quietly([tmp_path / "one.csv"], shop, today=TODAY)
    with open_store(shop / "shop.duckdb") as con:  # as an older program leaves a store: fewer columns, fewer facts
        con.execute("update core.runs set program_version = '0.0.9'")
        con.execute("update core.settings set value = '0.0.9' where key = 'program.version'")
        con.execute("delete from core.capacitor_readings")
    for command in (
        lambda: publish_again(shop, units=(), no_names=False),
        lambda: plan_again(shop, Asked(), say=lambda _: None),
        lambda: backtest_lines(shop),
    ):
        with pytest.raises(StoreError, match="another version of this program") as refused:
            command()
        assert refused.value.slug == "store-older"
    run_quietly([tmp_path / "one.csv"], shop, today=TODAY)  # a file that is imported already is enough
    assert ask(shop, "capacitor_readings")["capacitor_readings"].height == 1
    assert publish_again(shop, units=(), no_names=False)
