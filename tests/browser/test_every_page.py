"""Every page of a whole shop: silent, offline, its charts drawn, valid HTML. Takes minutes, so it is run by name."""

from __future__ import annotations

import asyncio
import datetime as dt
import json
import shutil
import subprocess
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from pipeline.run import run
from tests.browser.conftest import chromium, missing

pytestmark = [pytest.mark.browser, pytest.mark.thorough]

SAMPLES = Path(__file__).parents[2] / "sample_exports"
RULES = Path(__file__).with_name("htmlvalidate.json")
TECHNICIANS = """
[[technicians]]
name = "Ash Tilden"
[[technicians]]
name = "Bo Marsh"
"""
UNITS_OF_NOTES = 40
TABS = 2
"""Pages open at once: a tab waits for its file and its drawing in turn, two keep two cores busy."""


@pytest.fixture(scope="module", params=["sample shop", "notes only"])
def shop_pages(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Return every page of a shop after the main job."""
    shop = tmp_path_factory.mktemp("shop")
    (shop / "settings.toml").write_text(TECHNICIANS, "utf-8")
    files = SAMPLES if request.param == "sample shop" else SAMPLES / ".notes_only_shop"
    run([files], shop, as_of=None, today=dt.date(2026, 3, 20), say=lambda _: None)
    return sorted((shop / "dashboards").rglob("*.html"))


async def walk(paths: list[Path]) -> tuple[list[tuple[str, str]], set[str], list[str]]:
    """Open every page; return what any said on the console, every address asked for, and pages with undrawn charts."""
    from playwright.async_api import async_playwright

    said: list[tuple[str, str]] = []
    asked: set[str] = set()
    undrawn: list[str] = []
    left = iter(paths)

    async def tab(browser: Any) -> None:
        context = await browser.new_context(viewport={"width": 1280, "height": 900})
        context.on("request", lambda request: asked.add(request.url))
        page = await context.new_page()
        page.on("console", lambda message: said.append((page.url, message.text)))
        page.on("pageerror", lambda error: said.append((page.url, str(error))))
        for path in left:
            await page.goto(path.as_uri(), wait_until="load")
            charts, drawn = await page.evaluate(
                "[document.querySelectorAll('.chart').length, document.querySelectorAll('.chart svg.main-svg').length]"
            )
            undrawn.extend([path.name] if drawn < charts else [])
        await context.close()

    async with async_playwright() as playwright:
        browser = await playwright.chromium.launch(**chromium())
        await asyncio.gather(*(tab(browser) for _ in range(TABS)))
        await browser.close()
    return said, asked, undrawn


def test_every_page_is_silent_and_asks_for_nothing(request: pytest.FixtureRequest, shop_pages: list[Path]) -> None:
    units = [path for path in shop_pages if path.parent.name == "unit"]
    # all of the sample shop; of the shop that has notes alone every page but the further ones of the same kind
    left_out = set(units[UNITS_OF_NOTES:]) if "notes" in request.node.callspec.id else set()
    walked = [path for path in shop_pages if path not in left_out]
    with ThreadPoolExecutor(1) as own_loop:  # another browser test of this worker may have a loop running
        said, asked, undrawn = own_loop.submit(asyncio.run, walk(walked)).result()
    assert said == []
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
    assert {path.as_uri() for path in walked} <= asked
    assert undrawn == []
    assert len(walked) > 60


def test_every_page_is_valid_html(shop_pages: list[Path]) -> None:
    """html-validate 9, its recommended and accessibility rules; a phone never breaks by its style, not by its signs."""
    program = shutil.which("html-validate") or missing("no html-validate on the path: npm install html-validate@9")
    command = [program, "--config", str(RULES), "--formatter", "json", *map(str, shop_pages)]
    done = subprocess.run(command, check=False, capture_output=True, text=True)
    found = [
        (Path(file["filePath"]).name, message["line"], message["ruleId"], message["message"])
        for file in json.loads(done.stdout)
        for message in file["messages"]
    ]
    assert found[:20] == []
    assert done.returncode == 0, done.stderr
