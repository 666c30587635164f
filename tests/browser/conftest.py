"""One Chromium for all browser tests; without one they skip and say why, or fail where it is promised."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import Any, NoReturn

import pytest

from pipeline.config import Settings
from pipeline.publish import publish
from tests.reports.fleet import fleet_of_one, poor_fleet, small_fleet

REQUIRED = os.environ.get("PRESEASON_BROWSER_REQUIRED") == "1"


def missing(why: str) -> NoReturn:
    """Skip with the reason; where the browser is promised, fail with it."""
    if REQUIRED:
        pytest.fail(f"{why} (PRESEASON_BROWSER_REQUIRED=1 promises it)")
    pytest.skip(why)


def chromium() -> dict[str, Any]:
    """How to start the system's Chromium; skip or fail where there is none.

    Each page loads the same 4.8 MB of plotly.js: read as a whole it comes from the compiled copy in memory, as a
    stream it is compiled anew.
    """
    if find_spec("playwright") is None:
        missing("playwright is not installed: install the test extras")
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    if path is None:
        missing("no Chromium on the path: install the system package chromium")
    flags = ["--no-sandbox", "--disable-dev-shm-usage", "--disable-gpu", "--disable-features=ScriptStreaming"]
    return {"executable_path": path, "args": flags}


@pytest.fixture(scope="session")
def browser() -> Iterator[object]:
    start = chromium()
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        made = playwright.chromium.launch(**start)
        yield made
        made.close()


@pytest.fixture(scope="session")
def sites(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Dashboards folders by kind of fleet."""
    fleets = {"hostile": small_fleet(), "poor": poor_fleet(), "none_flagged": fleet_of_one(flagged=False)}
    folders = {}
    for name, fleet in fleets.items():
        shop = tmp_path_factory.mktemp(name)
        publish(fleet.query, shop, Settings())
        folders[name] = shop / "dashboards"
    return folders
