"""One simulation of the committed shop for all tests of it."""

from __future__ import annotations

import polars as pl
import pytest

from sample_exports.generator import simulate


@pytest.fixture(scope="session")
def shop() -> dict[str, pl.DataFrame]:
    """Return the clean tables and the truth of the rich sample shop."""
    return simulate()
