"""The examples in docstrings hold: a reader takes them for the truth."""

from __future__ import annotations

import doctest
import importlib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
WITH_EXAMPLES = sorted(
    ".".join(path.relative_to(ROOT).with_suffix("").parts)
    for package in ("pipeline", "reports")
    for path in (ROOT / package).rglob("*.py")
    if ">>>" in path.read_text("utf-8")
)


@pytest.mark.parametrize("module", WITH_EXAMPLES)
def test_the_examples_of_a_module_hold(module: str) -> None:
    told = doctest.testmod(importlib.import_module(module))
    assert told.attempted > 0
    assert told.failed == 0
