"""The same files give the same pages to the byte, whatever the clock, the language, the hash seed or the threads."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FILES = [ROOT / "sample_exports" / name for name in ("units.csv", "sites.csv", "visits_2023.csv", "visits_2024.csv")]
# No visit of these is dated after the clock, which the two time zones do not agree on.
HERE = {"TZ": "Pacific/Kiritimati", "LC_ALL": "C", "PYTHONHASHSEED": "1"}
THERE = {"TZ": "America/Anchorage", "LC_ALL": "de_DE.UTF-8", "PYTHONHASHSEED": "77", "POLARS_MAX_THREADS": "1"}


def published(shop: Path, surroundings: dict[str, str]) -> dict[str, bytes]:
    command = [sys.executable, "-m", "pipeline", "run", *map(str, FILES), "--shop", str(shop)]
    surroundings = os.environ | surroundings | {"PYTHONPATH": str(ROOT)}
    done = subprocess.run(command, check=False, env=surroundings, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    made = [*(shop / "dashboards").rglob("*"), *(shop / "lists").rglob("*"), *(shop / "rejected").rglob("*")]
    return {str(path.relative_to(shop)): path.read_bytes() for path in made if path.is_file()}


@pytest.mark.thorough
def test_pages_and_lists_are_the_same_to_the_byte(tmp_path: Path) -> None:
    here, there = published(tmp_path / "here", HERE), published(tmp_path / "there", THERE)
    assert here.keys() == there.keys()
    assert [name for name in here if here[name] != there[name]] == []
    assert len(here) > 400
