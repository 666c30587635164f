"""The figures of the sample shop's pages, read back out of the HTML, against SQL on the store's tables and views.

The queries and the way numbers are written are this file's own, so that neither ``sql/pages`` nor ``reports.format``
is held against itself.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import duckdb
import pytest

from pipeline.store.connect import open_store
from tests.reports.html import read_document, read_tables

pytestmark = pytest.mark.thorough

Row = tuple[Any, ...]
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def n(value: float | None, decimals: int = 0) -> str:
    """Write a number as a page does: thousands apart, a true minus, a dash for null."""
    if value is None:
        return "–"
    text = f"{value:,.{decimals}f}"
    return text.lstrip("-") if not text.strip("-0.,") else text.replace("-", "−")


def day(value: Any) -> str:
    return f"{value.day} {MONTHS[value.month - 1]} {value.year}"


def span(low: float | None, high: float | None, decimals: int = 1) -> str:
    return f"{n(low, decimals)} to {n(high, decimals)}" if low is not None and high is not None else ""


@dataclass(frozen=True)
class Check:
    """One table: its page, the heading it stands under, the SQL of its rows in the page's order (or each found by its
    first cell, where ``keyed``), the cells that a row must show, and how many rows stand on the page at the most."""

    page: str
    under: str
    sql: str
    cells: Callable[[Row], dict[int, str]]
    most: int = 10_000
    keyed: bool = False


RATES = """
    select group_value, failures, unit_years, rate_per_100_unit_years, rate_low, rate_high, shrunk_rate
    from failure_rates where group_by = '{}'
"""


def rate(row: Row) -> dict[int, str]:
    group, failures, years, per_100, low, high, shrunk = row
    return {
        0: group,
        1: n(failures),
        2: n(years, 1 if years < 10 else 0),
        3: n(per_100, 1),
        4: span(low, high),
        5: n(shrunk, 1),
    }


CHECKS = [
    Check(
        "index.html",
        "why",
        "select count(*), sum(p_failure) from unit_risk where flagged"
        " group by regexp_extract(leading_reason, '^[a-z_]+') order by 1 desc, min(leading_reason)",
        lambda row: {1: n(row[0])},
    ),
    Check(
        "index.html",
        "seen",
        """select case
               when last_visit_on >= as_of - interval 6 month then 1
               when last_visit_on >= as_of - interval 12 month then 2
               when last_visit_on >= as_of - interval 18 month then 3
               when last_visit_on >= as_of - interval 36 month then 4 else 5 end as band, count(*)
           from unit_risk group by band order by band""",
        lambda row: {1: n(row[1])},
    ),
    Check(
        "index.html",
        "makes",
        "select count(*), count(*) filter (flagged), 100 * sum(p_failure) / count(*) from unit_risk"
        " left join units using (unit_id) group by make order by 1 desc, make nulls last",
        lambda row: {1: n(row[0]), 2: n(row[1]), 3: n(row[2], 1)},
        12,
    ),
    Check(
        "index.html",
        "years",
        "select year(visit_date), count(*), count(*) filter (visit_type in ('maintenance', 'inspection')),"
        " count(*) filter (visit_type = 'no_cooling') from visits"
        " where visit_date <= (select max(as_of) from unit_risk) group by 1 order by 1 desc",
        lambda row: {0: str(row[0]), 1: n(row[1]), 3: n(row[3])},
        6,
    ),
    Check(
        "*/watch-list.html",
        "",
        "select row_number() over (order by rank), unit_id, last_visit_on from unit_risk where flagged order by rank",
        lambda row: {0: n(row[0]), 1: row[1], 7: day(row[2])},
    ),
    Check(
        "*/findings.html",
        "kinds",
        """select count(*), count(*) filter (days_open < 90), count(*) filter (days_open between 90 and 365),
               count(*) filter (days_open > 365), count(*) filter (decision is null),
               count(*) filter (decision = 'approved'), count(*) filter (decision = 'waiting_for_part'),
               count(*) filter (decision = 'later'), count(*) filter (decision = 'declined')
           from open_findings semi join unit_risk using (unit_id) where resolved_on is null
           group by finding order by 1 desc, finding""",
        lambda row: {place: n(value) for place, value in enumerate(row, start=1)},
    ),
    *(
        Check("*/parts-and-makes.html", f"by-{group}", RATES.format(group), rate, keyed=True)
        for group in ("make", "part_make", "refrigerant", "installed_by", "agreement")
    ),
    Check(
        "*/parts-and-makes.html",
        "trend",
        "select units, unit_years, failures, rate_per_100_unit_years, rate_low, rate_high from season_trend"
        " order by season_start desc",
        lambda row: {1: n(row[0]), 2: n(row[1], 1), 3: n(row[2]), 4: n(row[3], 1), 5: span(row[4], row[5])},
    ),
    Check(
        "*/parts-and-makes.html",
        "hazards",
        "select went_out, section_years, per_100_section_years, low, high from capacitor_hazards"
        " where section_years > 0 order by section, age_from",
        lambda row: {2: n(row[0]), 3: n(row[1], 1), 4: n(row[2], 1), 5: span(row[3], row[4])},
    ),
    Check(
        "*/parts-and-makes.html",
        "gathered",
        "select age_years, max(at_risk), max(per_unit) filter (what = 'repairs'), max(per_unit) filter (what = 'cost')"
        " from repairs_gathered group by age_years having age_years in (1, 2, 3, 5, 7, 10, 12, 15, 18, 20, 25, 30)"
        " order by age_years",
        lambda row: {0: n(row[0]), 1: n(row[1]), 2: n(row[2], 2), 4: n(row[3])},
    ),
    Check(
        "*/warranty.html",
        "makers",
        """select count(*) filter (state = 'credited'), sum(amount) filter (state = 'credited'),
               sum(amount) filter (state = 'filed'), sum(amount) filter (state = 'to_file'),
               count(*) filter (state = 'denied'), sum(amount) filter (state = 'denied'),
               count(*) filter (state = 'lapsed'),
               sum(amount) filter (state = 'lapsed' and covered_until >= visit_date), claim_to
           from warranty where state <> 'test_before_lapse' group by claim_to""",
        lambda row: {
            0: row[8] or "maker not known",
            **{place: n(value or 0, 0 if place in {1, 5, 7} else 2) for place, value in enumerate(row[:8], start=1)},
        },
        keyed=True,
    ),
    Check(
        "*/leaks.html",
        "suspected",
        "with said as (select unit_id, arg_max(decision, (decided_on, found_on)) as last_said from open_findings"
        " where resolved_on is null and decision is not null"
        " and finding in ('leak_found', 'topped_up_without_repair', 'charge_low', 'oil_stain') group by unit_id)"
        " select row_number() over (order by coalesce(last_said = 'declined', false), leak_rate_pct_per_year desc,"
        " unit_id), unit_id, refrigerant_added_oz_12_months from charge_trend semi join unit_risk using (unit_id)"
        " left join said using (unit_id) where charge_loss_suspected order by 1",
        lambda row: {0: n(row[0]), 1: row[1], 5: f"{n(row[2], 1).removesuffix('.0')} oz" if row[2] else "–"},
    ),
    Check(
        "*/data-quality.html",
        "files",
        "select regexp_extract(file, '[^/]+$'), rows_read, rows_stored, rows_unchanged, rows_rejected, rows_skipped,"
        " values_rejected from imports",
        lambda row: {0: row[0], **{place: n(value) for place, value in enumerate(row[1:], start=1)}},
        keyed=True,
    ),
    Check(
        "*/data-quality.html",
        "suspects",
        "select count(distinct (unit_id, visit_id)), count(distinct unit_id) from suspects group by reason"
        " order by 1 desc, reason",
        lambda row: {2: n(row[0]), 3: n(row[1])},
        60,
    ),
    Check(
        "*/data-quality.html",
        "untestable",
        "select count(*), count(distinct unit_id) from (select unit_id, visit_id,"
        " unnest(string_split(not_testable_because, '; ')) as why from charge_readings"
        " where charge_verdict = 'not_testable') group by why order by 1 desc, why",
        lambda row: {1: n(row[0]), 2: n(row[1])},
        40,
    ),
    Check(
        "*/forecast-record.html",
        "seasons",
        """select count(failed), count(*) filter (failed), sum(p_failure) filter (failed is not null),
               count(failed) filter (flagged), count(*) filter (flagged and failed),
               count(failed) filter (not flagged), count(*) filter (not flagged and failed), count(*) - count(failed)
           from backtest group by season, asked order by season desc, asked desc""",
        lambda row: {place: n(value, 1 if place == 4 else 0) for place, value in enumerate(row, start=2)},
    ),
    Check(
        "*/find-unit.html",
        "",
        "select unit_id, last_visit_on from unit_risk left join units using (unit_id) left join sites using (site_id)"
        " order by lower(coalesce(customer_name, unit_id)), unit_id",
        lambda row: {2: row[0], 6: day(row[1]) if row[1] else "–"},
    ),
]


@pytest.fixture(scope="module")
def con(sample_shop: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    with open_store(sample_shop / "shop.duckdb", read_only=True) as opened:
        yield opened


def same(shown: str, wanted: str) -> bool:
    """Whether a cell shows the figure; a name or a range may follow it."""
    return shown == wanted or shown.startswith(f"{wanted} ")


@pytest.mark.parametrize("check", CHECKS, ids=[f"{c.page.removeprefix('*/')} {c.under}" for c in CHECKS])
def test_a_table_shows_the_figures_of_the_store(
    sample_shop: Path, con: duckdb.DuckDBPyConnection, check: Check
) -> None:
    table = next(t for t in read_tables(next((sample_shop / "dashboards").glob(check.page))) if t.under == check.under)
    wanted = [check.cells(row) for row in con.sql(check.sql).fetchall()][: check.most]
    assert len(table.rows) == len(wanted) > 0
    by_first = {row[0]: row for row in table.rows}
    assert len(by_first) == len(table.rows) or not check.keyed
    for place, cells in enumerate(wanted):
        row = by_first[cells[0]] if check.keyed else table.rows[place]
        assert all(same(row[column], text) for column, text in cells.items()), (table.heads, row, cells)


def test_every_unit_page_shows_its_chance_and_its_drifts(sample_shop: Path, con: duckdb.DuckDBPyConnection) -> None:
    """In full precision, from the ``data`` elements, and every visit once."""
    chances = dict(con.sql("select unit_id, p_failure from unit_risk").fetchall())
    drifts: dict[str, list[float]] = {}
    for unit_id, drift in con.sql(
        "select unit_id, drift_pct from capacitor_readings where drift_pct is not null"
    ).fetchall():
        drifts.setdefault(unit_id, []).append(drift)
    visits = dict(
        con.sql(
            "select unit_id, count(*) from visits where visit_date <= (select max(as_of) from unit_risk) group by all"
        ).fetchall()
    )
    pages = sorted((sample_shop / "dashboards").glob("*/unit/*.html"))
    assert len(pages) > 300
    for path in pages:
        found = re.search(r"<h1>Unit ([^,<]+)", path.read_text("utf-8"))
        assert found, path.name
        unit_id = found.group(1)
        values = [float(value) for value in read_document(path).values]
        assert values[0] == chances[unit_id], unit_id
        assert sorted(values[1:]) == sorted(drifts.get(unit_id, [])), unit_id
        shown = [table for table in read_tables(path) if table.under == "visits"]
        assert sum(len(table.rows) for table in shown) == visits.get(unit_id, 0), unit_id


def test_the_numbers_of_the_fleet_are_the_views(sample_shop: Path, con: duckdb.DuckDBPyConnection) -> None:
    page = read_document(sample_shop / "dashboards" / "index.html")
    ten = con.sql("select p_failure from unit_risk where flagged order by rank limit 10").fetchall()
    assert [float(value) for value in page.values[:10]] == [p for (p,) in ten]
    sql = """
        select (select count(*) from unit_risk), (select count(*) from unit_risk where flagged),
            (select sum(p_failure) from unit_risk), (select sum(p_failure) from unit_risk where flagged),
            (select sum(expected_cost) from unit_risk),
            (select count(distinct unit_id) from capacitor_readings semi join unit_risk using (unit_id)),
            (select count(*) from charge_readings where charge_verdict <> 'not_testable'),
            (select count(*) from charge_trend semi join unit_risk using (unit_id) where charge_loss_suspected),
            (select count(*) from open_findings semi join unit_risk using (unit_id) where resolved_on is null),
            (select count(*) from rejects where resolved_at is null)
    """
    assert [float(value) for value in page.values[10:20]] == pytest.approx(con.sql(sql).fetchall()[0], rel=0, abs=1e-9)


def test_no_reading_beyond_its_limit_is_told_as_on_it(sample_shop: Path, con: duckdb.DuckDBPyConnection) -> None:
    """Unit U-0402 reads 7.1 of 7.5 µF, −5.3 %, where the label allows 5 %: as a whole percent it would seem within."""
    reasons = [text for (text,) in con.sql("select reasons from unit_risk").fetchall() if text]
    assert any("(-5.3 %) on" in text for text in reasons)
    on_it = r"read ([\d.]+) of ([\d.]+) uF[^(]*\(-(\d+) %\) on [^,;]+, limit -\3 %"
    found = [match for text in reasons for match in re.findall(on_it, text)]
    beyond = [(uf, rated, pct) for uf, rated, pct in found if 100 * (1 - float(uf) / float(rated)) > float(pct) + 0.05]
    assert beyond == []


def test_the_stops_of_the_weeks_are_those_of_the_plan(sample_shop: Path, con: duckdb.DuckDBPyConnection) -> None:
    [table] = [
        t for t in read_tables(next((sample_shop / "dashboards").glob("*/spring-round.html"))) if t.under == "weeks"
    ]
    rows = con.sql("select date_trunc('week', date)::date, count(*) from route_stops group by 1 order by 1").fetchall()
    assert [(row[0], row[1]) for row in table.rows] == [(day(monday), n(stops)) for monday, stops in rows]
