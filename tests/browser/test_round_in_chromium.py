"""The pages of the round in a real browser: silent, no sideways scroll, accessible, sheets that fit on paper."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from pipeline.config import Settings
from pipeline.publish import publish
from tests.reports.round_fleet import round_fleet

pytestmark = pytest.mark.browser
AXE_TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    shop = tmp_path_factory.mktemp("round")
    publish(round_fleet().query, shop, Settings())
    found = sorted((shop / "dashboards").rglob("*.html"))
    wanted = [path for path in found if path.stem in {"spring-round", "calls"}]
    return wanted + [next(path for path in found if path.parent.name == kind) for kind in ("week", "route_sheet")]


def test_silent_and_never_sideways(browser: Any, pages: list[Path]) -> None:
    for path in pages:
        page = browser.new_page()
        said: list[str] = []
        page.on("console", lambda message, said=said: said.append(message.text))
        page.goto(path.as_uri(), wait_until="load")
        for width in (1440, 768, 390, 320):
            page.set_viewport_size({"width": width, "height": 800})
            assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0, (path.name, width)
        assert said == [], path.name
        page.close()


@pytest.mark.thorough
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(browser: Any, pages: list[Path], scheme: str) -> None:
    import axe_playwright_python as axe

    script = Path(axe.__file__).parent.joinpath("axe.min.js").read_text("utf-8")
    for path in pages:
        page = browser.new_page(color_scheme=scheme)
        page.goto(path.as_uri(), wait_until="load")
        page.evaluate("for (const box of document.querySelectorAll('details')) box.open = true")
        page.evaluate(script)
        found = page.evaluate("tags => axe.run({runOnly: {type: 'tag', values: tags}})", AXE_TAGS)
        assert [(item["id"], item["nodes"][0]["html"][:160]) for item in found["violations"]] == [], path.name
        page.close()


def test_a_day_of_six_stops_prints_on_three_pages(browser: Any, pages: list[Path]) -> None:
    page = browser.new_page()
    page.goto(pages[-1].as_uri(), wait_until="load")
    assert len(re.findall(rb"/Type\s*/Page[^s]", page.pdf(format="Letter"))) <= 3
    page.close()
