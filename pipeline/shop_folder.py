"""The shop folder: the names of the files in it, the user's own small tables, and whether it can be written."""

from __future__ import annotations

import tempfile
from collections.abc import Iterable
from pathlib import Path

import polars as pl

from pipeline.config import default_text
from pipeline.enrich.blower_tables import parse_blowers
from pipeline.enrich.charge_charts import parse_charts
from pipeline.errors import StoreError, UsageError
from pipeline.forecast.degree_days import parse_degree_days
from pipeline.ingest import mapping_file
from pipeline.ingest.mapping_file import Entry

STORE = "shop.duckdb"
SETTINGS = "settings.toml"
MAPPING = "mapping.toml"
CHARTS = "charts.csv"
BLOWERS = "blowers.csv"
DEGREE_DAYS = "degree_days.csv"


def make_folder(shop: Path) -> None:
    """Make the shop folder and see that pages can be written before anything is stored."""
    try:
        (shop / "dashboards").mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=shop / "dashboards"):
            pass
        if not (shop / SETTINGS).exists():
            (shop / SETTINGS).write_text(default_text(), "utf-8")
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise StoreError(
            f"the shop folder {shop.name or '.'} cannot be written ({reason}): free it or name another with --shop; "
            "nothing was changed",
            slug="store-unwritable",
        ) from error


def charts_of(shop: Path) -> pl.DataFrame | None:
    """Return the shop's own target superheat charts, if it has any."""
    text = _own_table(shop, CHARTS)
    return None if text is None else parse_charts(text, name=CHARTS)


def blowers_of(shop: Path) -> pl.DataFrame | None:
    """Return the shop's own fan tables, if it has any."""
    text = _own_table(shop, BLOWERS)
    return None if text is None else parse_blowers(text, name=BLOWERS)


def degree_days_of(shop: Path) -> pl.DataFrame | None:
    """Return the heat of past seasons, if the shop keeps it."""
    text = _own_table(shop, DEGREE_DAYS)
    return None if text is None else parse_degree_days(text, name=DEGREE_DAYS)


def _own_table(shop: Path, name: str) -> str | None:
    """Return the text of a table that the shop keeps in its folder; None where it does not."""
    path = shop / name
    try:
        return path.read_text("utf-8") if path.exists() else None
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(f"{name} cannot be read ({type(error).__name__}): save it as UTF-8 CSV") from error


def complete_mapping(shop: Path, entries: Iterable[Entry]) -> None:
    """Add to the mapping file how each file was read."""
    path = shop / MAPPING
    text = path.read_text("utf-8-sig") if path.exists() else ""
    complete = mapping_file.complete(text, entries)
    if complete != text:
        path.write_text(complete, "utf-8")
