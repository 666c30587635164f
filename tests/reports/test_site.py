"""Every page of every kind of fleet: links, escaping, offline, and the numbers against the SQL."""

from __future__ import annotations

import datetime as dt
import json
import re
from pathlib import Path

import pytest

from pipeline.config import Settings
from pipeline.publish import publish
from reports.page import Site
from reports.pages import all_pages
from reports.render import environment
from reports.site import private_columns
from tests.reports.conftest import SHOPS
from tests.reports.fleet import HOSTILE, Fleet, small_fleet
from tests.reports.html import Document, read_document, read_site, target_of, unclosed

kinds = pytest.mark.parametrize("kind", sorted(SHOPS))


def pages_of(shops: dict[str, Path], kind: str) -> dict[Path, Document]:
    return read_site(shops[kind] / "dashboards")


@kinds
def test_every_link_and_fragment_has_its_target(shops: dict[str, Path], kind: str) -> None:
    documents = {path.resolve(): page for path, page in pages_of(shops, kind).items()}
    for page in documents.values():
        for _, link in page.links:
            if link.startswith("tel:"):
                continue
            path, fragment = target_of(page, link)
            assert path.is_file(), f"{page.path.name}: {link}"
            assert not fragment or fragment in documents[path].anchors, f"{page.path.name}: {link}"


@kinds
def test_every_page_is_reached_from_the_index(shops: dict[str, Path], kind: str) -> None:
    documents = {path.resolve(): page for path, page in pages_of(shops, kind).items()}
    index = (shops[kind] / "dashboards" / "index.html").resolve()
    seen, todo = {index}, [index]
    while todo:
        page = documents[todo.pop()]
        for _, link in page.links:
            if not link.startswith("tel:"):
                path = target_of(page, link)[0]
                if path in documents and path not in seen:
                    seen.add(path)
                    todo.append(path)
    assert seen == documents.keys()


@kinds
def test_nothing_points_outside_the_folder(shops: dict[str, Path], kind: str) -> None:
    for page in pages_of(shops, kind).values():
        for tag, attributes in page.tags:
            for name in ("href", "src", "srcset", "action", "poster", "data", "style", "background"):
                assert not re.match(r"\s*(?:[a-z]+:)?//|\s*(?:https?|javascript|data):", attributes.get(name) or ""), (
                    tag,
                    attributes,
                )
            assert not [name for name in attributes if name.startswith("on")], (tag, attributes)


@kinds
def test_ids_are_unique_and_pages_are_well_formed(shops: dict[str, Path], kind: str) -> None:
    for page in pages_of(shops, kind).values():
        assert len(page.anchors) == len(set(page.anchors))
        opened = [tag for tag, _ in page.tags]
        assert opened.count("h1") == 1
        assert opened.count("main") == 1
        assert opened.count("table") == opened.count("caption"), page.path.name
        assert all(values.get("scope") in {"col", "row"} for tag, values in page.tags if tag == "th"), page.path.name


@kinds
def test_every_tag_is_closed_in_order(shops: dict[str, Path], kind: str) -> None:
    for path in pages_of(shops, kind):
        assert unclosed(path.read_text("utf-8")) == [], path.name


def test_hostile_values_stay_text(shops: dict[str, Path]) -> None:
    allowed = {"script", "a", "b", "img"}
    for path, page in pages_of(shops, "hostile").items():
        tags = [tag for tag, _ in page.tags if tag in allowed]
        assert "img" not in tags
        assert "b" not in tags
        scripts = [values for tag, values in page.tags if tag == "script"]
        assert all(values.get("src") or values.get("type") == "application/json" for values in scripts), path
        assert not [link for tag, link in page.links if "bad.invalid" in link]
        assert "\u202e" not in page.text


def test_hostile_values_are_shown_as_written(shops: dict[str, Path]) -> None:
    text = read_document(next((shops["hostile"] / "dashboards").glob("*/watch-list.html"))).text
    for key in ("script", "closing", "template", "bold", "formula", "quote"):
        assert HOSTILE[key] in text, key
    assert HOSTILE["long"] not in text
    assert "L" * 50 + "LLLLLLLLL…" in text


def test_chart_data_survives_html_and_has_no_live_markup(shops: dict[str, Path]) -> None:
    """plotly reads <b> and <a> in hover text: none may come from the data."""
    found = 0
    for path in (shops["hostile"] / "dashboards").rglob("*.html"):
        for block in re.findall(r'<script type="application/json"[^>]*>(.*?)</script>', path.read_text("utf-8"), re.S):
            for trace in json.loads(block).get("data", []):
                for text in trace.get("text", []):
                    found += 1
                    assert not re.search(r"<(?!br>)", text), text
    assert found > 100


def test_the_plain_name_of_a_template_does_not_decide_escaping() -> None:
    assert environment().autoescape is True
    assert environment().from_string("{{ x }}").render(x="<i>") == "&lt;i&gt;"


@kinds
def test_index_is_small(shops: dict[str, Path], kind: str) -> None:
    assert (shops[kind] / "dashboards" / "index.html").stat().st_size < 300_000


def test_numbers_on_the_index_are_the_views(shops: dict[str, Path], fleet: Fleet) -> None:
    values = read_document(shops["hostile"] / "dashboards" / "index.html").values
    ten = fleet.con.sql("select p_failure from unit_risk where flagged order by rank limit 10").fetchall()
    assert [float(value) for value in values[:10]] == [p for (p,) in ten]
    active, flagged, expected, watched, cost = fleet.con.sql(
        "select count(*), count(*) filter (flagged), sum(p_failure), sum(p_failure) filter (flagged),"
        " sum(expected_cost) from unit_risk"
    ).fetchall()[0]
    assert [float(value) for value in values[10:15]] == pytest.approx(
        [active, flagged, expected, watched, cost], rel=0, abs=1e-9
    )


def test_numbers_on_the_watch_list_are_the_view(shops: dict[str, Path], fleet: Fleet) -> None:
    page = read_document(next((shops["hostile"] / "dashboards").glob("*/watch-list.html")))
    rows = fleet.con.sql("select p_failure from unit_risk where flagged order by rank").fetchall()
    assert [float(value) for value in page.values] == [p for (p,) in rows]


def test_numbers_on_a_unit_page_are_the_views(shops: dict[str, Path], fleet: Fleet) -> None:
    page = read_document(next((shops["hostile"] / "dashboards").glob("*/unit/u-015-*.html")))
    [(p,)] = fleet.con.sql("select p_failure from unit_risk where unit_id = 'U-015'").fetchall()
    drifts = fleet.con.sql(
        "select drift_pct from capacitor_readings where unit_id = 'U-015' order by visit_date desc, section desc"
    ).fetchall()
    assert float(page.values[0]) == p
    assert [float(value) for value in page.values[1:]] == [drift for (drift,) in drifts]


def test_the_accounts_on_data_quality_balance(shops: dict[str, Path]) -> None:
    page = read_document(next((shops["hostile"] / "dashboards").glob("*/data-quality.html")))
    account = re.search(r"Read (\d+) = stored (\d+) \+ unchanged (\d+) \+ rejected (\d+) \+ skipped (\d+)", page.text)
    assert account is not None
    read, stored, unchanged, rejected, skipped = (int(value) for value in account.groups())
    assert read == stored + unchanged + rejected + skipped == 220  # five files of 44 rows, see fleet.py


def test_the_same_store_gives_the_same_bytes(shops: dict[str, Path], tmp_path: Path) -> None:
    publish(small_fleet().query, tmp_path, Settings())
    first = {
        path.relative_to(shops["hostile"]): path.read_bytes() for path in shops["hostile"].rglob("*") if path.is_file()
    }
    again = {path.relative_to(tmp_path): path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    assert first == again


def test_no_names_leaves_out_every_name_phone_street_and_note(tmp_path: Path) -> None:
    fleet = Fleet()
    fleet.add(
        "sites",
        site_id="S",
        customer_name="Quenby Marlowe",
        phone="555-0142",
        address="7 Tern Row",
        access_notes="key under Tern",
    )
    fleet.add("units", unit_id="U1", site_id="S", make="Norvane")
    fleet.add(
        "visits",
        visit_id="J",
        unit_id="U1",
        visit_date=dt.date(2026, 3, 1),
        notes="call Quenby on 555-0142",
        leak_location="Tern Row side",
    )
    fleet.add(
        "core.unit_forecast",
        unit_id="U1",
        as_of=dt.date(2026, 3, 14),
        season_start=dt.date(2026, 5, 1),
        season_end=dt.date(2026, 9, 30),
        p_failure=0.4,
        p_low=0.2,
        p_high=0.6,
        flagged=True,
        leading_reason="other",
    )
    publish(fleet.query, tmp_path, Settings(), no_names=True)
    written = [path for path in tmp_path.rglob("*") if path.suffix in {".html", ".csv"}]
    for path in written:
        text = path.read_text("utf-8")
        assert not re.search("Quenby|Marlowe|0142|Tern", text), path.name
        assert "<td" not in text or "Norvane" in text or path.parent.name != "unit"
    publish(fleet.query, tmp_path, Settings())
    assert any("Quenby" in path.read_text("utf-8") for path in tmp_path.rglob("*.html"))


def test_private_columns_follow_the_registry() -> None:
    assert {"customer_name", "phone", "address", "access_notes", "notes"} <= private_columns()


@pytest.mark.parametrize(
    ("as_of", "starts_with"),
    [
        (dt.date(2026, 3, 14), "7 weeks to the season"),  # 48 days
        (dt.date(2026, 4, 20), "11 days to the season"),
        (dt.date(2026, 7, 1), "In season, 92 days left"),  # 31 + 31 + 30 days, both ends counted
        (dt.date(2026, 9, 30), "In season, 1 day left"),
    ],
)
def test_the_headline_follows_the_date(tmp_path: Path, as_of: dt.date, starts_with: str) -> None:
    fleet = Fleet()
    fleet.add(
        "core.unit_forecast",
        unit_id="U1",
        as_of=as_of,
        season_start=dt.date(2026, 5, 1),
        season_end=dt.date(2026, 9, 30),
        p_failure=0.4,
        flagged=True,
    )
    publish(fleet.query, tmp_path, Settings())
    assert starts_with in read_document(tmp_path / "dashboards" / "index.html").text


def test_after_a_season_the_headline_says_so(tmp_path: Path) -> None:
    fleet = Fleet()
    fleet.add(
        "core.unit_forecast",
        unit_id="U1",
        as_of=dt.date(2026, 10, 5),
        season_start=dt.date(2027, 5, 1),
        season_end=dt.date(2027, 9, 30),
        p_failure=0.4,
        flagged=True,
    )
    publish(fleet.query, tmp_path, Settings())
    assert "Off season, 30 weeks to the next" in read_document(tmp_path / "dashboards" / "index.html").text  # 208 days


@pytest.mark.parametrize(
    ("kind", "sentence"),
    [
        ("poor", "No capacitor or charge reading is on file"),
        ("poor", "does not say why visits were made"),
        ("poor", "Not seen for 18 months"),
        ("one_flagged", "see the one unit in care"),
        ("none_flagged", "no unit stands out from the rest"),
        ("none_flagged", "Highest chances, none of them flagged"),
        ("empty", "No unit is in care yet"),
    ],
)
def test_a_thin_shop_is_told_so(shops: dict[str, Path], kind: str, sentence: str) -> None:
    assert sentence in read_document(shops[kind] / "dashboards" / "index.html").text


def test_pages_declare_what_they_need() -> None:
    slugs = [module.PAGE.slug for module in all_pages()]
    assert len(slugs) == len(set(slugs))
    for module in all_pages():
        assert module.PAGE.slug == module.__name__.rpartition(".")[2]
        for query in module.PAGE.queries:  # its own, or one that it shares with the page it hangs on
            assert any(query == slug or query.startswith(f"{slug}_") for slug in slugs), query


def test_a_long_list_of_units_lies_on_several_pages(tmp_path: Path) -> None:
    fleet = Fleet()
    fleet.con.execute(
        "insert into core.unit_forecast (unit_id, as_of, p_failure, flagged)"
        " select 'U' || i, date '2026-03-14', 0.1, false from range(1201) as r (i)"
    )
    publish(fleet.query, tmp_path, Settings(), most_unit_pages=0)
    parts = sorted(tmp_path.glob("dashboards/*/find_unit_part/*.html"))
    assert [path.read_text("utf-8").count("<tr>") - 1 for path in parts] == [500, 500, 201]
    listed = read_document(next(tmp_path.glob("dashboards/*/find-unit.html")))
    assert [target_of(listed, link)[0] for tag, link in listed.links if "find_unit_part" in link] == [
        path.resolve() for path in parts
    ]


def test_site_has_one_source_for_its_fields() -> None:
    row = Fleet().query("site", {})
    missing = set(Site.__dataclass_fields__) - set(row.columns) - {"shop_name", "currency", "with_names", "unit_files"}
    assert missing == set()
