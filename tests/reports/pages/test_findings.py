"""The page of open findings: counts are the view's, decisions are told apart, nothing retired is chased."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from pipeline.config import Settings
from pipeline.publish import publish
from tests.reports.fleet import Fleet, small_fleet
from tests.reports.html import read_document


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
    assert "Nothing found is left open" in text_of(fleet, tmp_path)


def test_the_fleet_review_counts_both_with_links(tmp_path: Path) -> None:
    publish(small_fleet(30, hostile=False).query, tmp_path, Settings())
    page = read_document(tmp_path / "dashboards" / "index.html")
    links = {link.rpartition("/")[2] for _, link in page.links}
    assert {"leaks.html", "findings.html"} <= links
    assert "40" in page.values
    assert "10" in page.values
