"""The pages and files of the round: links, escaping, names left out, and numbers against the frames they come from."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest

from pipeline.config import Settings
from pipeline.publish import publish
from reports.charts.round_map import round_map
from reports.round_words import minutes, reason_lines, sheet_file
from tests.reports.html import Document, read_site, target_of, unclosed
from tests.reports.round_fleet import MONDAY, TECHNICIANS, round_fleet

KINDS = ("spring-round", "calls", "week", "route_sheet")


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("round")
    publish(round_fleet().query, folder, Settings())
    return folder


@pytest.fixture(scope="module")
def nameless(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("nameless")
    publish(round_fleet().query, folder, Settings(), no_names=True)
    return folder


def round_pages(shop: Path) -> dict[Path, Document]:
    return {
        path: page
        for path, page in read_site(shop / "dashboards").items()
        if path.stem in KINDS or path.parent.name in KINDS
    }


def test_a_page_per_week_and_a_sheet_per_technician_day(shop):
    folders = [path.parent.name for path in round_pages(shop)]
    assert (folders.count("week"), folders.count("route_sheet")) == (2, 4)


def test_pages_are_whole_and_every_link_has_its_target(shop):
    for path, page in round_pages(shop).items():
        assert unclosed(path.read_text("utf-8")) == [], path.name
        for _, link in page.links:
            assert link.startswith("tel:") or target_of(page, link)[0].is_file(), f"{path.name}: {link}"


def test_hostile_names_stay_text(shop):
    for path, page in round_pages(shop).items():
        text = path.read_text("utf-8")
        assert "<script>document.title" not in text
        assert "<b>M</b>" not in text
        assert not [values for tag, values in page.tags if tag == "img"]


def test_without_names_nobody_is_named(nameless):
    for path, page in round_pages(nameless).items():
        for word in ("Okafor", "Lindqvist", "Quay Street", "555 01", "van 0", "okafor"):
            assert word not in page.text, (path.name, word)
            assert word not in path.name
    for path in (nameless / "lists").rglob("*"):
        if path.is_file() and path.name not in {"watchlist.csv", "claims.csv"}:
            text = path.read_text("utf-8")
            assert not any(word in text for word in ("Okafor", "Lindqvist", "Quay Street", "555 01", "van 0")), (
                path.name
            )
            assert "okafor" not in path.name


def rows(shop: Path, name: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO((shop / "lists" / name).read_text("utf-8"))))


def test_lists_hold_every_stop_and_no_formula(shop):
    routes = rows(shop, "routes.csv")
    assert len(routes) == 24
    assert [row["stop"] for row in routes[:6]] == ["1", "2", "3", "4", "5", "6"]
    assert len(rows(shop, "calls.csv")) == 24
    assert len(rows(shop, "stock.csv")) == 3
    for name in ("routes.csv", "calls.csv", "stock.csv", "visits_to_fill_in.csv"):
        for row in rows(shop, name):
            assert not [value for value in row.values() if value and value[0] in "=+@\t\r"], name


def test_the_sheet_to_fill_in_comes_back_as_visits(shop):
    """Every header is a field of visits, keys are filled in, readings blank."""
    from pipeline.fields import fields_for_file

    filled = rows(shop, "visits_to_fill_in.csv")
    assert set(filled[0]) <= set(fields_for_file("visits"))
    assert len({(row["visit_id"], row["unit_id"]) for row in filled}) == len(filled) == 24
    assert {row["herm_uf"] + row["visit_type"] for row in filled} == {""}


def test_the_calendar_of_someone_who_left_goes(tmp_path):
    old = tmp_path / "lists" / "calendar" / "gone-0000000000.ics"
    old.parent.mkdir(parents=True)
    old.write_text("BEGIN:VCALENDAR")
    publish(round_fleet().query, tmp_path, Settings())
    assert not old.exists()
    assert len(list(old.parent.glob("*.ics"))) == 2


def test_a_sheet_has_what_the_day_needs(shop):
    path = next(path for path in round_pages(shop) if path.name == sheet_file("R. Okafor", MONDAY, with_names=True))
    text = round_pages(shop)[path].text
    for wanted in (
        "Mon 16 Mar 2026",
        "08:20 to 09:20",
        "Contactor: pitted on 2 Apr 2025",
        "hermetic µF, rated",
        "40+5 µF 440 V",
        "Discharge each section",
        "lock it out",
        "Local code",
        "refrigerant added oz",
        "Never vent",
    ):
        assert wanted in text, wanted


STOPS = [
    {"technician": "A", "lat": 27.5, "lon": -91.4},
    {"technician": "A", "lat": 27.6, "lon": -91.4},
    {"technician": "B", "lat": 27.5, "lon": -91.2},
    {"technician": "B", "lat": None, "lon": None},
]


def test_the_map_says_in_words_what_it_shows():
    found = round_map(STOPS)
    assert found is not None
    assert len(found.marks) == 3
    assert [(entry.shape, entry.text) for entry in found.legend] == [
        ("circle", "A: 2 stops"),
        ("square", "B: 2 stops"),
    ]
    # 0.2 degrees of longitude at latitude 27.55: 0.2 * cos(27.55) * 69 = 12.2 miles
    assert "about 12 miles wide" in found.alt
    assert "1 stop without a place, not drawn" in found.alt


def test_north_is_up_and_east_is_right():
    found = round_map(STOPS)
    assert found is not None
    south, north = sorted((float(mark.path.split()[1].split("a")[0]) for mark in found.marks[:2]), reverse=True)
    assert north < south
    assert float(found.marks[2].path[1:].split()[0]) > float(found.marks[0].path[1:].split()[0])


def test_no_place_no_map():
    assert round_map([]) is None
    assert round_map(STOPS[3:]) is None


@pytest.mark.parametrize(("value", "text"), [(None, "–"), (7.4, "7 min"), (60.0, "1 h 00 min"), (125.0, "2 h 05 min")])
def test_minutes(value, text):
    assert minutes(value) == text


def test_reasons_as_sentences():
    assert reason_lines("refrigerant_leak: 18 oz added; leak found found on 2025-04-02") == (
        "Refrigerant charge or leak: 18 oz added",
        "Leak found found on 2 Apr 2025",
    )
    assert reason_lines(None) == ()


def test_the_first_day_says_whom_to_call_what_to_print_and_what_to_load(shop):
    """Monday: six stops each for two technicians, the first, sixth and eleventh unit booked."""
    page = next(page for path, page in round_pages(shop).items() if path.stem == "spring-round")
    assert "First day: Mon 16 Mar 2026" in page.text
    assert "Call for the 9 stops not booked yet" in page.text
    links = [link for _, link in page.links]
    sheets = [link for link in links if link.startswith("route_sheet/2026-03-16")]
    assert len(sheets) == len(TECHNICIANS)
    week = next(link for link in links if link.endswith("#load"))
    other = target_of(page, week)[0]
    assert {"day-1", "load"} <= {dict(values).get("id") for _, values in round_pages(shop)[other].tags}


def test_a_call_offers_the_planned_day_before_other_weeks(shop):
    page = next(page for path, page in round_pages(shop).items() if path.stem == "calls")
    assert "Mon 16 Mar about 08:20, R. Okafor" in page.text
    listed = rows(shop, "calls.csv")
    assert {row["arrive"] for row in listed} == {row["arrive"] for row in rows(shop, "routes.csv")}


def test_technicians_of_past_visits_are_numbers_where_names_are_left_out(nameless, shop):
    named = [who for (who,) in round_fleet().con.execute("select distinct technician from visits").fetchall() if who]
    assert named
    found = {path: path.read_text("utf-8") for path in (shop / "dashboards").rglob("*.html")}
    assert any(who in text for text in found.values() for who in named)
    for path in (nameless / "dashboards").rglob("*.html"):
        text = path.read_text("utf-8")
        assert not [who for who in named if who in text], path.name
    assert "Technician 1" in (nameless / "lists" / "watchlist.csv").read_text("utf-8") + "".join(
        path.read_text("utf-8") for path in (nameless / "dashboards").rglob("*.html")
    )


def test_a_long_list_of_calls_says_where_the_rest_is(
    shop: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("reports.pages.calls.MOST_CALLS", 10)
    publish(round_fleet().query, tmp_path, Settings())
    page = next(path for path in (tmp_path / "dashboards").rglob("calls.html"))
    text = page.read_text("utf-8")
    assert text.count('class="num place-no"') == 10
    left = len(rows(shop, "calls.csv")) - 10
    assert f"the {left} that are not on this page too" in text
