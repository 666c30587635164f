"""Decode, map and parse of 100,000 clean visits against a bare polars read of the same file as text."""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest

from pipeline.ingest.mapping import map_table
from pipeline.ingest.parse import parse
from pipeline.ingest.read import read_table

ROWS = 100_000
READINGS = {
    "outdoor_db_f": (60, 110, 1),
    "return_db_f": (68, 80, 1),
    "return_wb_f": (55, 67, 1),
    "supply_db_f": (48, 60, 1),
    "suction_psig": (90, 140, 0),
    "liquid_psig": (250, 420, 0),
    "suction_line_f": (40, 70, 1),
    "liquid_line_f": (70, 110, 1),
    "herm_uf": (25, 60, 1),
    "fan_uf": (3, 10, 1),
    "blower_uf": (3, 15, 1),
    "compressor_amps": (5, 30, 1),
    "condenser_fan_amps": (0.5, 2, 1),
    "blower_amps": (2, 6, 1),
    "line_volts": (225, 250, 0),
    "static_in_wc": (0.3, 1, 2),
    "airflow_cfm": (800, 1800, 0),
    "discharge_line_f": (120, 220, 0),
    "condenser_leaving_f": (80, 130, 1),
    "recorded_superheat_f": (2, 25, 0),
    "recorded_subcooling_f": (2, 20, 0),
    "invoice_total": (89, 900, 2),
}
AT_MOST_ALL, AT_MOST_OURS = 4.0, 2.0
"""Times a bare read: decode, map and parse together; map and parse alone."""


def visits_file(folder: Path) -> Path:
    """Return a file of 30 columns with some blanks."""
    chance = random.Random(1)
    lines = [
        ",".join(
            [
                "visit_id",
                "unit_id",
                "visit_date",
                "technician",
                "visit_type",
                "cause",
                "observations",
                "notes",
                *READINGS,
            ]
        )
    ]
    for n in range(ROWS):
        fixed = [f"V{n:06d}", f"U{n % 30000:05d}", f"20{18 + n % 8}-{1 + n % 12:02d}-{1 + n % 28:02d}", "Brisa"]
        words = [
            chance.choice(["maintenance", "repair"]),
            chance.choice(["", "contactor"]),
            "dirty_filter",
            "all in order",
        ]
        cells = [
            "" if chance.random() < 0.15 else f"{chance.uniform(low, high):.{d}f}" for low, high, d in READINGS.values()
        ]
        lines.append(",".join([*fixed, *words, *cells]))
    path = folder / "visits.csv"
    path.write_text("\n".join(lines) + "\n", "utf-8")
    return path


def seconds(work: Callable[[], object]) -> float:
    """Return the shortest of five runs."""
    times = []
    for _ in range(5):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


@pytest.mark.benchmark
def test_import_costs_a_few_bare_reads(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = visits_file(tmp_path)
    bare = seconds(lambda: pl.read_csv(path, infer_schema=False))
    raw = read_table(path, path.name)
    mapped = map_table(raw)
    assert parse(raw, mapped).findings.is_empty()
    read = seconds(lambda: read_table(path, path.name))
    ours = seconds(lambda: parse(raw, map_table(raw)))
    with capsys.disabled():
        print(f"\nbare read {bare:.3f} s; decode {read / bare:.2f} x, map and parse {ours / bare:.2f} x")
    assert ours / bare <= AT_MOST_OURS
    assert (read + ours) / bare <= AT_MOST_ALL
