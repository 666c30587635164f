"""Every shipped limit has a value and a source."""

from __future__ import annotations

import tomllib
from dataclasses import fields
from pathlib import Path

import pipeline
from pipeline.enrich.limits import Limits, limits


def test_each_limit_has_one_value_and_a_source() -> None:
    path = Path(pipeline.__file__).parent / "reference" / "thresholds.toml"
    raw = tomllib.loads(path.read_text("utf-8"))
    assert {f.name for f in fields(Limits)} == set(raw)
    for name, entry in raw.items():
        assert set(entry) == {"value", "source"}, name
        assert len(entry["source"]) > 20, name
    assert limits().superheat_band_f == 5.0
