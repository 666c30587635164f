"""The leaks page against the views, and what it must say however thin the shop's records are."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path

import pytest

from pipeline.config import Settings
from pipeline.publish import publish
from tests.reports.fleet import Fleet, small_fleet
from tests.reports.html import Document, read_document, read_tables


def page(shop: Path) -> Document:
    return read_document(next((shop / "dashboards").glob("*/leaks.html")))


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("leaks")
    publish(small_fleet(30, hostile=False).query, folder, Settings())
    return folder


def test_suspected_leaks_are_the_views_most_lost_first(shop: Path) -> None:
    fleet = small_fleet(30, hostile=False)
    told = fleet.con.sql(
        "select p_leaking from charge_trend where charge_loss_suspected order by leak_rate_pct_per_year desc, unit_id"
    ).fetchall()
    assert [float(value) for value in page(shop).values] == [p for (p,) in told]
    assert page(shop).text.count("about 36\u00a0% a year") == 1  # 9 + 27, the unit that loses most
    assert "10 of 30 systems are probably losing charge" in page(shop).text


def test_what_a_customer_declined_comes_last_and_what_warms_is_said_once(tmp_path: Path) -> None:
    fleet = small_fleet(30, hostile=False)
    [(most,)] = fleet.con.sql(
        "select unit_id from charge_trend where charge_loss_suspected order by leak_rate_pct_per_year desc limit 1"
    ).fetchall()
    fleet.con.execute("update core.open_findings set decision = 'declined' where unit_id = ?", [most])
    publish(fleet.query, tmp_path, Settings())
    [suspected] = [table for table in read_tables(page(tmp_path).path) if table.under == "suspected"]
    assert suspected.rows[-1][1].startswith(most)
    assert suspected.rows[-1][5] == "12 oz"
    assert page(tmp_path).text.count("arming potential over 700") == 2


def test_the_rule_and_the_cautions_stand_there(shop: Path) -> None:
    text = page(shop).text
    assert "No federal leak-rate threshold applies to 10 of the 10 listed" in text
    assert "check the rule in force" in text
    for said in ("certified", "superheat number alone", "mildly flammable", "55 °F", "not a diagnosis", "Local code"):
        assert said in text, said


def test_use_by_type_and_year_adds_up(shop: Path) -> None:
    text = page(shop).text
    # 80 oz net are 5 lb; 5 lb of R-22 at 1,810 warm like 5 x 0.45359237 x 1.81 = 4.1 t, of R-410A at 2,088 like 4.7 t
    assert re.search(r"2025 R-22 7 5\.2 0\.2 5\.0 4\.1 ", text)
    assert re.search(r"2025 R-410A 7 5\.2 0\.2 5\.0 4\.7 ", text)
    assert "In 2025, 10.0\u00a0lb more went in than came out" in text


def test_a_top_up_with_a_leak_found_since_is_not_blind(tmp_path: Path) -> None:
    fleet = Fleet()
    for unit, leak in (("blind", "no"), ("found", "yes"), ("before", "yes")):
        fleet.add("units", unit_id=unit, refrigerant="R-410A")
        fleet.add("core.unit_forecast", unit_id=unit, as_of=dt.date(2026, 3, 14), p_failure=0.1, flagged=False)
        fleet.add("visits", visit_id=f"a-{unit}", unit_id=unit, visit_date=dt.date(2025, 5, 1))
        searched = dt.date(2024, 1, 1) if unit == "before" else dt.date(2025, 6, 1)
        fleet.add("visits", visit_id=f"b-{unit}", unit_id=unit, visit_date=searched, leak_found=leak)
        fleet.add(
            "core.open_findings",
            unit_id=unit,
            finding="topped_up_without_repair",
            found_on=dt.date(2025, 5, 1),
            visit_id=f"a-{unit}",
            days_open=317,
        )
        fleet.add(
            "core.refrigerant_ledger",
            unit_id=unit,
            visit_id=f"a-{unit}",
            visit_date=dt.date(2025, 5, 1),
            added_oz=9.0,
            recovered_oz=0.0,
            net_oz=9.0,
            kind="top_up",
        )
    rows = fleet.query("leaks_topped_up", {}).rows(named=True)
    assert {row["unit_id"]: row["leak_found"] for row in rows} == {"blind": "no", "before": None}
    publish(fleet.query, tmp_path, Settings())
    text = page(tmp_path).text
    assert "2 systems got refrigerant" in text
    assert "searched, none found, 1 Jun 2025" in text
    assert "no search since" in text


def test_a_shop_without_refrigerant_on_file_is_told_what_to_write(tmp_path: Path) -> None:
    publish(Fleet().query, tmp_path, Settings())
    text = page(tmp_path).text
    assert "Nothing on file can show a leak yet" in text
    assert "No top-up is on file" in text
    assert "Write ounces added and recovered into the export" in text
