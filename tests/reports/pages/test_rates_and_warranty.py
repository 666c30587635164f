"""Pages of rates and warranty on a hostile fleet worked out in full: numbers, links to rows, escaping, names."""

from __future__ import annotations

import csv
import datetime as dt
import io
from pathlib import Path

import pytest

from pipeline.config import Settings
from pipeline.derive_rates import rates_and_lives, read_fleet, write_tables, write_warranty
from pipeline.publish import publish
from tests.reports.fleet import AS_OF, HOSTILE, TECHNICIANS, Fleet, small_fleet
from tests.reports.html import Document, read_document, read_site, read_tables, target_of


def worked_out() -> Fleet:
    """The hostile fleet with claims in every state, work not billed, an install to register, and all of it derived."""
    fleet = small_fleet()
    for n, (status, on) in enumerate(
        (
            (None, dt.date(2026, 3, 1)),
            ("filed", dt.date(2025, 12, 1)),
            ("credited", dt.date(2025, 8, 1)),
            ("denied", dt.date(2025, 8, 2)),
            ("none", dt.date(2024, 8, 1)),
        )
    ):
        unit_id = f"U-{19 + n:03d}"
        fleet.add(
            "visits", visit_id=f"C{n}", unit_id=unit_id, visit_date=on, visit_type="no_cooling", cause="contactor"
        )
        fleet.add(
            "parts",
            visit_id=f"C{n}",
            unit_id=unit_id,
            part="contactor",
            part_make=HOSTILE["script"],
            cost=40.25,
            price=200.0,
            claim_status=status,
            claimed_on=on + dt.timedelta(days=3) if status in {"filed", "credited"} else None,
            serial_out=HOSTILE["formula"],
            source_line=50 + n,
        )
    for n in range(24, 33):  # calls for the capacitor, so that its lives can be drawn
        fleet.add(
            "visits",
            visit_id=f"F{n}",
            unit_id=f"U-{n:03d}",
            visit_date=dt.date(2025, 6, n - 20),
            visit_type="no_cooling",
            cause="run_capacitor",
        )
    fleet.add("visits", visit_id="B", unit_id="U-030", visit_date=dt.date(2026, 2, 1), refrigerant_added_oz=14.0)
    # out of coverage, but for those with a claim, one installed this winter, and one whose coverage ends in June
    fleet.con.execute("update units set installed_on = date '2000-06-01'")
    fleet.con.execute("update units set installed_on = date '2020-06-01' where unit_id between 'U-019' and 'U-023'")
    fleet.con.execute("update units set installed_on = date '2016-06-01' where unit_id = 'U-032'")
    fleet.con.execute(
        "update units set installed_on = date '2026-02-20', installed_by = 'own crew' where unit_id = 'U-031'"
    )
    known = read_fleet(fleet.con, AS_OF, Settings())
    write_tables(fleet.con, rates_and_lives(known, Settings().season, None))
    write_warranty(fleet.con, known, Settings())
    return fleet


@pytest.fixture(scope="module")
def fleet() -> Fleet:
    return worked_out()


@pytest.fixture(scope="module")
def shop(fleet: Fleet, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("worked_out")
    publish(fleet.query, folder, Settings())
    return folder


def page(shop: Path, name: str) -> Document:
    return read_document(next((shop / "dashboards").glob(f"*/{name}.html")))


def test_every_link_has_its_target_and_no_hostile_value_its_way(shop: Path) -> None:
    documents = {path.resolve(): found for path, found in read_site(shop / "dashboards").items()}
    for path, document in documents.items():
        for _, link in document.links:
            if not link.startswith("tel:"):
                target, fragment = target_of(document, link)
                assert target.is_file(), (path.name, link)
                assert not fragment or fragment in documents[target].anchors, (path.name, link)
        assert not {"img", "b"} & {tag for tag, _ in document.tags}
        assert "\u202e" not in document.text


def test_every_page_is_reached_from_the_index(shop: Path) -> None:
    documents = {path.resolve(): found for path, found in read_site(shop / "dashboards").items()}
    todo = [(shop / "dashboards" / "index.html").resolve()]
    seen = set(todo)
    while todo:
        document = documents[todo.pop()]
        for _, link in document.links:
            target = document.path if link.startswith("tel:") else target_of(document, link)[0]
            if target in documents and target not in seen:
                seen.add(target)
                todo.append(target)
    assert seen == documents.keys()
    assert {path.parent.name for path in seen} >= {"claim", "maker_claims", "rate_rows", "figure_rows"}


def test_the_headline_and_the_claims_are_the_views(shop: Path, fleet: Fleet) -> None:
    text = page(shop, "warranty").text
    [(claims, worth)] = fleet.con.sql("select count(*), sum(amount) from warranty where state = 'to_file'").fetchall()
    assert (claims, worth) == (1, 40.25)
    assert "1 claim to file, worth 40.25 USD" in text
    states = dict(fleet.con.sql("select state, count(*) from warranty group by state").fetchall())
    assert states == {"to_file": 1, "filed": 1, "credited": 1, "denied": 1, "lapsed": 1, "test_before_lapse": 2}


def test_each_open_claim_has_a_packet_with_its_rows(shop: Path) -> None:
    packets = [read_document(path) for path in (shop / "dashboards").glob("*/claim/*.html")]
    assert len(packets) == 4
    told = " ".join(packet.text for packet in packets)
    assert "File by 30 May 2026" in told  # 90 days from 1 March
    assert "test it before then, and file only if it is outside its label tolerance or failed" in told
    contactor = " ".join(p.text for p in packets if "Contactor, U-" in p.text and "still in place" in p.text)
    assert contactor
    assert "label tolerance" not in contactor  # only a capacitor has one
    assert "parts.csv, line 50" in told
    assert "units.csv, line 21" in told
    assert "by now estimated 13.0\u00a0% under its label" in told


def test_what_was_paid_registered_and_not_billed_is_listed(shop: Path) -> None:
    text = page(shop, "warranty").text
    assert "The customer paid for a covered part: refund?" in text
    assert "800.00 USD" in text  # four of five covered parts at 200: the claim denied is rightly paid
    assert "21 Apr 2026 38 days left" in text  # 60 days from 20 February
    assert "14 oz of refrigerant" in text
    assert "Refrigerant added on the visit, no row of parts" in text


def test_each_rate_leads_to_the_failures_and_units_behind_it(shop: Path, fleet: Fleet) -> None:
    rates = page(shop, "parts-and-makes")
    links = {link for _, link in rates.links if link.startswith("rate_rows/")}
    shown = fleet.con.sql("select group_by, group_value from int_rates_shown").fetchall()
    assert len(links) == len(shown) > 20
    [(sentence, failures)] = fleet.con.sql(
        "select sentence, failures from failure_rates where group_by = 'make' and group_value = 'Norvane'"
    ).fetchall()
    assert sentence in rates.text
    rows = next(
        document
        for path in (shop / "dashboards").glob("*/rate_rows/make-*.html")
        if "Norvane" in (document := read_document(path)).text
    )
    assert sentence in rows.text
    assert sum(1 for _ in rows.path.read_text("utf-8").split("<tr>")) - 3 >= failures > 0
    assert "visits_20" in rows.text


def test_each_figure_that_counts_leads_to_so_many_rows(shop: Path, fleet: Fleet) -> None:
    """Walks from the page: lives, seasons, callbacks, sections out, drift; each with the count that its page shows."""
    found = page(shop, "parts-and-makes")
    behind = {}
    for _, link in found.links:
        if link.startswith("figure_rows/"):
            rows = read_document(found.path.parent / link)
            source = rows.path.read_text("utf-8")
            behind[link] = source.count("<tr>") - 1
            assert behind[link] > 0, link
            assert ".csv" in rows.text, link  # each row has its place
    counts = {
        "lives": "select failures + replaced_in_time + removed_by_choice + reason_not_known from lifetimes",
        "season": "select failures from season_trend where failures > 0",
        "back": "select back from callbacks where within_days = 90 and back > 0",
        "out": "select sum(went_out) from capacitor_hazards group by section having sum(went_out) > 0",
        "drift": "select series from part_quality where group_by = 'make'",
    }
    told = [int(row[0]) for query in counts.values() for row in fleet.con.sql(query).fetchall() if row[0]]
    assert len(told) >= 8
    assert not set(told) - set(behind.values())


def test_each_maker_leads_to_all_its_claims(shop: Path, fleet: Fleet) -> None:
    found = page(shop, "warranty")
    links = {link for _, link in found.links if link.startswith("maker_claims/")}
    makers = fleet.con.sql("select claim_to, count(*) from warranty group by claim_to").fetchall()
    counted = sorted(
        read_document(found.path.parent / link).path.read_text("utf-8").count("<tr>") - 1 for link in links
    )
    assert counted == sorted(many for _, many in makers)


def test_survival_curves_have_their_numbers_and_lead_to_the_lives(shop: Path, fleet: Fleet) -> None:
    found = page(shop, "parts-and-makes")
    [(failures,)] = fleet.con.sql(
        "select max(failures) from survival_curves where component = 'run_capacitor' and make is null"
    ).fetchall()
    assert failures >= 5
    assert f"after {failures} failures" in found.text
    source = found.path.read_text("utf-8")
    section = source[source.index('id="curve-run_capacitor"') :]
    link = section[section.index("figure_rows/") :].split('"')[0]
    assert "Run capacitor: lives that ended" in read_document(found.path.parent / link).text
    last = fleet.con.sql(
        "select at_risk, failures from survival_curves where component = 'run_capacitor' and make is null "
        "order by age_years desc limit 1"
    ).fetchall()[0]
    assert last[0] >= 5  # never drawn to where next to nobody is left


def test_the_list_of_claims_is_every_claim_and_safe_to_open(shop: Path, fleet: Fleet) -> None:
    text = (shop / "lists" / "claims.csv").read_text("utf-8")
    rows = list(csv.DictReader(io.StringIO(text)))
    states = ["to_file", "test_before_lapse", "test_before_lapse", "filed", "credited", "denied", "lapsed"]
    assert [row["state"] for row in rows] == states
    assert rows[0]["amount"] == "40.25"
    assert rows[0]["deadline"] == "2026-05-30"
    words = [cell for row in rows for name, cell in row.items() if name != "days_left"]
    assert not [cell for cell in words if cell.startswith(("=", "+", "-", "@"))]


def test_no_names_leaves_customers_out_of_claims(fleet: Fleet, tmp_path: Path) -> None:
    """Names, phones, streets and technicians of every customer and visit, on pages, in packets and in the list."""
    publish(fleet.query, tmp_path, Settings(), no_names=True)
    told = fleet.con.sql(
        "select customer_name, phone, address from sites where customer_name like 'Customer %'"
    ).fetchall()
    hidden = {value for row in told for value in row if value} | set(TECHNICIANS)
    hidden -= {"Customer 32"}  # which this fleet also has as the words of a finding
    assert len(hidden) > 60
    claims = [*tmp_path.rglob("claim/*.html"), *tmp_path.rglob("maker_claims/*.html")]
    assert len(claims) > 4
    listed = tmp_path / "lists" / "claims.csv"
    for path in [*claims, next(tmp_path.rglob("warranty.html")), listed]:
        text = path.read_text("utf-8")
        assert not [value for value in hidden if value in text], path.name
    header = listed.read_text("utf-8").split("\n")[0].split(",")
    assert "unit_id" in header
    assert not {"customer_name", "phone", "address", "city", "technician"} & set(header)


def test_the_same_store_gives_the_same_bytes(shop: Path, tmp_path: Path) -> None:
    publish(worked_out().query, tmp_path, Settings())
    first, again = (
        {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*") if path.is_file()}
        for folder in (shop, tmp_path)
    )
    assert first == again


def test_an_empty_store_says_what_is_needed(tmp_path: Path) -> None:
    publish(Fleet().query, tmp_path, Settings())
    assert "Coverage needs an install date and a term" in page(tmp_path, "warranty").text
    assert "No no-cooling call after a first visit is on file yet" in page(tmp_path, "parts-and-makes").text


def test_rows_without_a_day_have_no_column_of_dashes_and_sections_their_names(shop: Path) -> None:
    drifts = [
        table
        for path in (shop / "dashboards").glob("*/figure_rows/*.html")
        if "Drift of capacitors" in read_document(path).text
        for table in read_tables(path)
    ]
    assert drifts
    for table in drifts:
        assert {len(row) for row in table.rows} == {3}
        assert not [row for row in table.rows if "herm " in row[1]]


def test_a_packet_of_a_section_holds_its_readings_alone(shop: Path) -> None:
    [packet] = [
        path
        for path in (shop / "dashboards").glob("*/claim/*.html")
        if "Run capacitor, hermetic section" in read_document(path).text
    ]
    [readings] = [table.rows for table in read_tables(packet)]
    assert {row[1] for row in readings} == {"hermetic"}
    assert "Serial out" not in read_document(packet).text  # nothing has been taken out yet
