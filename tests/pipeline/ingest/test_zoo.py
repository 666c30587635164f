"""Every dialect with every fault, compared cell by cell with the truth it was made from."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest

from pipeline.ingest.read import RawTable, read_table
from pipeline.ingest.show import show
from tests.csv_zoo import Specimen, all_specimens, mixed_line_ends

ZOO = [*all_specimens(), mixed_line_ends()]


def rows_of(table: RawTable) -> list[tuple[int, tuple[str, ...]]]:
    """Return (line, cells) of each row, without the cells that a short row lacks."""
    return [(line, tuple(c for c in cells if c is not None)) for *cells, line in table.cells.iter_rows()]


def test_the_zoo_is_as_large_as_promised() -> None:
    assert len(ZOO) >= 60
    assert len({s.name for s in ZOO}) == len(ZOO)


@pytest.mark.parametrize("made", ZOO, ids=lambda made: made.name)
def test_every_record_is_where_it_belongs(made: Specimen, tmp_path: Path) -> None:
    path = tmp_path / "jobs [1].csv"
    path.write_bytes(made.data)
    table = read_table(path, path.name)
    assert table.header_line == made.header_line
    assert rows_of(table) == list(made.rows)
    assert table.skipped.select("source_line", "reason").rows() == list(made.skipped)
    assert table.malformed.select("source_line", "rule").rows() == list(made.malformed)
    assert table.rows_read == len(made.rows) + len(made.skipped) + len(made.malformed)


@pytest.mark.parametrize("made", ZOO, ids=lambda made: made.name)
def test_show_keeps_every_record_and_cell(made: Specimen, tmp_path: Path) -> None:
    path = tmp_path / "jobs.csv"
    path.write_bytes(made.data)
    text = b"".join(show(path).chunks()).decode()
    csv.field_size_limit(10_000_000)
    assert [tuple(cells) for cells in csv.reader(io.StringIO(text, newline=""))] == list(made.shown)
