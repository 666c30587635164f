"""The page of open findings: counts are the view's, decisions are told apart, nothing retired is chased."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from pipeline.config import Settings
from pipeline.publish import publish
from tests.reports.fleet import Fleet, small_fleet
from tests.reports.html import read_document, read_tables


def text_of(fleet: Fleet, folder: Path) -> str:
    publish(fleet.query, folder, Settings())
    return read_document(next((folder / "dashboards").glob("*/findings.html"))).text


def test_counts_are_the_views_and_declined_is_not_neglect(tmp_path: Path) -> None:
    # 30 units: a pitted contactor each, ten of them topped up; the decision goes none, declined, later in turn
    text = text_of(small_fleet(30, hostile=False), tmp_path)
    assert "40 findings with no repair on file" in text
    assert "For 20 no decision of the customer is on file: offer them, the likeliest to fail first." in text
    assert "10 were declined: the customer's decision, not neglect" in text
    assert "Topped up, no repair 10 0 10 0 10 0 0 0 0" in text  # all within a year, nobody asked
    assert "Pitted contactor 30 0 0 30 10 0 0 10 10" in text
    assert "Put right, not shown yet" in text
    assert "15 repairs" in text  # every other repair was verified


def test_findings_of_units_no_longer_in_care_are_left_out(tmp_path: Path) -> None:
    fleet = Fleet()
    fleet.add("units", unit_id="gone")
    fleet.add(
        "core.open_findings",
        unit_id="gone",
        finding="leak_found",
        found_on=dt.date(2024, 1, 1),
        visit_id="V",
        days_open=800,
    )
    assert "No finding is open on file" in text_of(fleet, tmp_path)


def test_the_fleet_review_counts_both_with_links(tmp_path: Path) -> None:
    publish(small_fleet(30, hostile=False).query, tmp_path, Settings())
    page = read_document(tmp_path / "dashboards" / "index.html")
    links = {link.rpartition("/")[2] for _, link in page.links}
    assert {"leaks.html", "findings.html"} <= links
    assert "40" in page.values
    assert "10" in page.values


def test_what_was_promised_comes_first_then_the_unit_likeliest_to_fail(tmp_path: Path) -> None:
    fleet = small_fleet(30, hostile=False)
    [(last,)] = fleet.con.sql("select unit_id from unit_risk order by rank desc limit 1").fetchall()
    fleet.con.execute("update core.open_findings set decision = 'approved' where unit_id = ?", [last])
    wanted = fleet.con.sql(
        "select unit_id from open_findings join unit_risk using (unit_id) where resolved_on is null"
        " and decision is null order by rank, days_open desc"
    ).fetchall()
    publish(fleet.query, tmp_path, Settings())
    document = next((tmp_path / "dashboards").glob("*/findings.html"))
    [rows] = [table.rows for table in read_tables(document) if table.under == "act"]
    shown = [row[0].split()[0] for row in rows]
    promised = shown.count(last)
    assert promised > 0
    assert shown[:promised] == [last] * promised
    assert shown[promised : promised + len(wanted)] == [unit for (unit,) in wanted]
    assert {row[1] for row in rows if row[1].startswith("Topped up")} == {"Topped up, no repair: 12 oz topped up"}
