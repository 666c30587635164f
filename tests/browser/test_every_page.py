"""Every page of a whole shop: silent, offline, valid HTML. Takes minutes, so it is run by name, as CI does."""

from __future__ import annotations

import datetime as dt
import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from pipeline.run import run
from tests.browser.conftest import missing

pytestmark = [pytest.mark.browser, pytest.mark.thorough]

SAMPLES = Path(__file__).parents[2] / "sample_exports"
RULES = Path(__file__).with_name("htmlvalidate.json")
TECHNICIANS = """
[[technicians]]
name = "Ash Tilden"
[[technicians]]
name = "Bo Marsh"
"""


@pytest.fixture(scope="module", params=["sample shop", "notes only"])
def shop_pages(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Return every page of a shop after the main job."""
    shop = tmp_path_factory.mktemp("shop")
    (shop / "settings.toml").write_text(TECHNICIANS, "utf-8")
    files = SAMPLES if request.param == "sample shop" else SAMPLES / ".notes_only_shop"
    run([files], shop, as_of=None, today=dt.date(2026, 3, 20), say=lambda _: None)
    return sorted((shop / "dashboards").rglob("*.html"))


def test_every_page_is_silent_and_asks_for_nothing(browser: Any, shop_pages: list[Path]) -> None:
    said: list[tuple[str, str]] = []
    asked: set[str] = set()
    undrawn: list[str] = []
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    context.on("request", lambda request: asked.add(request.url))
    page = context.new_page()
    page.on("console", lambda message: said.append((page.url, message.text)))
    page.on("pageerror", lambda error: said.append((page.url, str(error))))
    for path in shop_pages:
        page.goto(path.as_uri(), wait_until="load")
        charts, drawn = page.evaluate(
            "[document.querySelectorAll('.chart').length, document.querySelectorAll('.chart svg.main-svg').length]"
        )
        undrawn += [path.name] if drawn < charts else []
    context.close()
    assert said == []
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
    assert undrawn == []
    assert len(shop_pages) > 150


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
