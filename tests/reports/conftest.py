"""Published sites that the tests of the pages share."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.config import Settings
from pipeline.publish import publish
from tests.reports.fleet import Fleet, fleet_of_one, poor_fleet, small_fleet

SHOPS = {
    "hostile": small_fleet,
    "poor": poor_fleet,
    "one_flagged": lambda: fleet_of_one(flagged=True),
    "none_flagged": lambda: fleet_of_one(flagged=False),
    "empty": Fleet,
}


@pytest.fixture(scope="session")
def fleet() -> Fleet:
    return small_fleet()


@pytest.fixture(scope="session")
def shops(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Shop folders by kind of fleet, each published once."""
    folders = {}
    for name, make in SHOPS.items():
        folders[name] = tmp_path_factory.mktemp(name)
        publish(make().query, folders[name], Settings())
    return folders
