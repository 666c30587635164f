"""Questions an owner asks on Monday: the answer comes from SQL, a scripted reader finds it by at most two links."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pipeline.config import Settings
from pipeline.publish import publish
from reports.advice import advice, label
from reports.format import chance, day, number, reason_text
from tests.reports.fleet import Fleet, small_fleet
from tests.reports.html import Document, read_site, target_of

Row = tuple[Any, ...]
MOST_LINKS = 2

QUESTIONS: list[tuple[str, tuple[str, ...], str, Callable[[Row], list[str]]]] = [
    (
        "How many units should we see before the season?",
        (),
        "select count(*) filter (flagged), count(*) from unit_risk",
        lambda row: [f"see {row[0]} of {row[1]} units first"],
    ),
    (
        "Which unit comes first, and whom do I call?",
        (),
        "select unit_id, customer_name, phone from unit_risk join units using (unit_id) join sites using (site_id)"
        " where flagged order by rank limit 1",
        lambda row: list(row),
    ),
    (
        "Why is it on the list?",
        ("*/watch-list.html",),
        "select p_failure from unit_risk where flagged order by rank limit 1",
        lambda row: [chance(row[0])],
    ),
    (
        "How many calls do we get if we do nothing?",
        (),
        "select round(sum(p_failure)) from unit_risk",
        lambda row: [f"expect about {number(row[0])} no-cooling calls"],
    ),
    (
        "What would those calls cost?",
        (),
        "select round(sum(expected_cost), -1) from unit_risk",
        lambda row: [f"{number(row[0])} USD"],
    ),
    (
        "How many are flagged for a run capacitor?",
        (),
        "select count(*) from unit_risk where flagged and starts_with(leading_reason, 'run_capacitor')",
        lambda row: [f"{label('run_capacitor')} {row[0]}"],
    ),
    (
        "Who came on to the list since last time?",
        (),
        "select count(*) from unit_risk anti join (select unit_id from risk_history where flagged) as earlier"
        " using (unit_id) where flagged",
        lambda row: [f"{row[0]} units came on to the watch list"],
    ),
    (
        "How many no-cooling calls did we have in 2024?",
        (),
        "select count(*) from visits where visit_type = 'no_cooling' and year(visit_date) = 2024",
        lambda row: [f"run capacitor {row[0]}"],
    ),
    (
        "What capacitor goes on the truck for unit U-015?",
        ("*/watch-list.html", "*/unit/u-015-*.html"),
        "select cap_herm_uf, cap_fan_uf from units where unit_id = 'U-015'",
        lambda row: [f"Capacitor {row[0]:g}+{row[1]:g} µF"],
    ),
    (
        "What did its hermetic section last read, and in which line of which file does that stand?",
        ("*/watch-list.html", "*/unit/u-015-*.html"),
        "select visit_date, source_file, source_line from capacitor_readings join visits using (unit_id, visit_id,"
        " visit_date) where unit_id = 'U-015' and section = 'herm' order by visit_date desc limit 1",
        lambda row: [day(row[0]), f"{row[1]}, line {row[2]}"],
    ),
    (
        "Is its charge right?",
        ("*/watch-list.html", "*/unit/u-015-*.html"),
        "select visit_date from charge_readings where unit_id = 'U-015' and charge_verdict <> 'not_testable'"
        " order by visit_date desc limit 1",
        lambda row: [f"Last judged on {day(row[0])}"],
    ),
    (
        "Where is Customer 33's unit?",
        ("*/find-unit.html",),
        "select unit_id, address from sites join units using (site_id) where customer_name = 'Customer 33'",
        lambda row: [*row, "Customer 33"],
    ),
    (
        "How many rejected rows and values are still to mend?",
        ("*/data-quality.html",),
        "select count(*) from rejects where resolved_at is null",
        lambda row: [f"{row[0]} rejected rows and values to mend"],
    ),
    (
        "Which technician's readings look copied?",
        ("*/data-quality.html",),
        "select technician, count(suspect), count(*) from capacitor_readings group by technician"
        " order by count(suspect) desc, technician limit 1",
        lambda row: [f"{row[1]} of {row[2]}", row[0]],
    ),
    (
        "Why could the charge not be judged?",
        ("*/data-quality.html",),
        "select not_testable_because, count(*) from charge_readings where charge_verdict = 'not_testable' group by all",
        lambda row: [f"{row[0]} {row[1]}"],
    ),
    (
        "Which stored fields did a later file change?",
        ("*/data-quality.html",),
        "select count(*) from corrections",
        lambda row: [f"hermetic section {row[0]}"],
    ),
    (
        "How fresh is all this?",
        (),
        "select max(visit_date) from visits",
        lambda row: [f"Newest visit {day(row[0])}"],
    ),
    (
        "Which make calls most per 100 units?",
        (),
        "select make, round(100 * avg(p_failure), 1) from unit_risk join units using (unit_id)"
        " group by make order by 2 desc, make limit 1",
        lambda row: [row[0], number(row[1], 1)],
    ),
    (
        "What does 'not testable' mean?",
        ("*/glossary.html",),
        "select string_agg(words, '|' order by place) from not_testable_reasons",
        lambda row: [reason_text(words) for words in row[0].split("|")],
    ),
    (
        "What must a technician beware of on the first unit?",
        ("*/unit/u-002-*.html",),
        "select regexp_extract(leading_reason, '^[a-z_]+') from unit_risk where unit_id = 'U-002' and rank = 1",
        lambda row: list(advice()[row[0]].cautions),
    ),
]


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> tuple[Fleet, dict[Path, Document]]:
    """The fleet and its published pages."""
    fleet = small_fleet(hostile=False)
    shop = tmp_path_factory.mktemp("questions")
    publish(fleet.query, shop, Settings())
    return fleet, {path.resolve(): page for path, page in read_site(shop / "dashboards").items()}


def follow(pages: dict[Path, Document], steps: tuple[str, ...]) -> Document:
    """Return the page that a reader comes to from the index by links whose targets match, one after the other."""
    page = next(page for path, page in pages.items() if path.name == "index.html")
    for step in steps:
        targets = {target_of(page, link)[0] for tag, link in page.links if tag == "a" and not link.startswith("tel:")}
        [target] = [path for path in targets if path.match(step)]
        page = pages[target]
    return page


def test_there_are_twenty_questions() -> None:
    assert len(QUESTIONS) == len({question for question, _, _, _ in QUESTIONS}) == 20
    assert all(len(steps) <= MOST_LINKS for _, steps, _, _ in QUESTIONS)


@pytest.mark.parametrize(("question", "steps", "sql", "answer"), QUESTIONS, ids=[row[0] for row in QUESTIONS])
def test_the_answer_stands_where_the_links_lead(
    site: tuple[Fleet, dict[Path, Document]],
    question: str,
    steps: tuple[str, ...],
    sql: str,
    answer: Callable[[Row], list[str]],
) -> None:
    fleet, pages = site
    wanted = answer(fleet.con.sql(sql).fetchall()[0])
    text = re.sub(r"\s+", " ", follow(pages, steps).text)
    assert [piece for piece in wanted if piece not in text] == [], question
