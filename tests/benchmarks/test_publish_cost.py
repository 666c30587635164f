"""What the pages cost: per page against writing the same bytes, and a long list in the browser. Run by name.

python -m pytest tests/benchmarks/test_publish_cost.py -m benchmark -s
"""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import pytest

from pipeline.config import Settings
from pipeline.publish import publish
from tests.reports.fleet import AS_OF, SEASON, Fleet, small_fleet

pytestmark = pytest.mark.benchmark

PAINTED = """() => new Promise(done => new PerformanceObserver(list => {
    for (const entry of list.getEntriesByName("first-contentful-paint")) done(entry.startTime);
}).observe({type: "paint", buffered: true}))"""


def test_a_thousand_unit_pages(tmp_path: Path) -> None:
    fleet = small_fleet(1000, hostile=False)
    assert fleet.con
    began = time.perf_counter()
    done = publish(fleet.query, tmp_path, Settings())
    taken = time.perf_counter() - began
    files = [path.read_bytes() for path in (tmp_path / "dashboards").rglob("*.html")]
    began = time.perf_counter()
    for n, content in enumerate(files):
        (tmp_path / f"{n}.copy").write_bytes(content)
    floor = time.perf_counter() - began
    size = sum(map(len, files)) / len(files)
    print(f"\n{done.pages} pages, {1000 * taken / done.pages:.1f} ms and {size / 1000:.0f} kB each, "
          f"{taken / floor:.0f} times the writing alone")  # fmt: skip
    assert size < 50_000  # 3,000 pages stay under 150 MB
    assert taken / done.pages < 20 / 3000  # 3,000 pages in 20 s on 2 cores


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The dashboards folder of 3,000 flagged units."""
    shop = tmp_path_factory.mktemp("shop")
    fleet = Fleet()
    for n in range(3000):
        fleet.add("core.unit_forecast", unit_id=f"U-{n}", as_of=AS_OF, season_start=SEASON[0], season_end=SEASON[1],
                  p_failure=0.3, p_low=0.1, p_high=0.5, flagged=True,
                  leading_reason=f"run_capacitor: hermetic section {n % 40} % low")  # fmt: skip
    publish(fleet.query, shop, Settings())
    return shop / "dashboards"


def test_three_thousand_rows_filter_without_a_pause(browser: Any, pages: Path) -> None:
    page = browser.new_page()
    page.goto(next(pages.glob("*/watch-list.html")).as_uri())
    taken = page.evaluate(
        """() => ["u", "u-1", "13 %", ""].map(words => {
            const find = document.getElementById("find");
            find.value = words;
            const began = performance.now();
            find.dispatchEvent(new Event("input", {bubbles: true}));
            document.body.offsetHeight;
            return performance.now() - began;
        })"""
    )
    page.close()
    print(f"\nfilter and layout of 3,000 rows, ms: {[round(value) for value in taken]}")
    assert max(taken) < 100


def test_the_index_is_painted_before_the_chart_library_is_read(browser: Any, pages: Path) -> None:
    """First contentful paint of the index, each time in a fresh window."""
    taken = []
    for _ in range(5):
        context = browser.new_context(viewport={"width": 1280, "height": 900})
        page = context.new_page()
        page.goto((pages / "index.html").as_uri(), wait_until="load")
        taken.append(page.evaluate(PAINTED))
        context.close()
    print(f"\nfirst paint of the index, ms: {[round(value) for value in taken]}")
    assert sorted(taken)[2] < 1000
