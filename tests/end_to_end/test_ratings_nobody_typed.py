"""A shop whose register lacks ratings of half its units: what stands in for them, and how often it is right."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from sample_exports.generator import simulate, variants
from tests.end_to_end.bringing import bring

ROW = ["visit_id", "unit_id", "section", "is_new_part"]
LABELS = ["cap_herm_uf", "cap_fan_uf", "cap_blower_uf"]


def readings(folder: Path, files: dict[str, bytes]) -> pl.DataFrame:
    return bring(folder, files, names=("capacitor_readings",)).tables["capacitor_readings"]


@pytest.fixture(scope="module")
def compared(tmp_path_factory: pytest.TempPathFactory) -> pl.DataFrame:
    """Readings of a shop whose register lost the labels of every other unit, beside the true rating of each."""
    files = variants.tidy(simulate(120, 3, 23))
    (name,) = [name for name in files if "unit" in name]
    register = pl.read_csv(files[name], infer_schema=False).with_row_index("n")
    labels = [label for label in LABELS if label in register.columns]
    poor = register.with_columns(pl.when(pl.col("n") % 2 == 0).then(pl.col(labels))).drop("n")
    truth = readings(tmp_path_factory.mktemp("rich"), files)
    found = readings(tmp_path_factory.mktemp("poor"), files | {name: poor.write_csv().encode()})
    return found.join(truth.select(*ROW, true_uf="rated_uf"), on=ROW, how="inner")


def right(compared: pl.DataFrame, source: str) -> tuple[int, float]:
    rows = compared.filter(rated_source=source)
    return rows.height, float((rows["rated_uf"] == rows["true_uf"]).mean() or 0.0)


def test_every_link_is_met_and_right_as_often_as_it_can_be(compared: pl.DataFrame) -> None:
    shares = {source: right(compared, source) for source in ("register", "part", "model", "nearest_size")}
    assert all(count >= 20 for count, _ in shares.values())
    assert shares["register"][1] == 1.0
    assert shares["part"][1] > 0.9
    assert shares["model"][1] > 0.6  # units of one model left the factory with several sizes
    assert shares["nearest_size"][1] > 0.9  # of those read while they were still near their label


def test_notes_alone_tell_ratings_and_the_rest_is_said_to_be_a_guess(tmp_path: Path) -> None:
    shop = Path(__file__).parents[2] / "sample_exports" / ".notes_only_shop"
    files = {file.name: file.read_bytes() for file in shop.glob("*.csv")}
    found = readings(tmp_path, files)
    assert set(found["rated_source"]) == {"part", "notes", "nearest_size"}
    assert set(found["method"]) == {"from_notes"}
