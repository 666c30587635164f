"""Liquid pressure at or below suction while cooling: the hoses were swapped or the compressor did not pump."""

import polars as pl

from pipeline.checks.registry import Check
from pipeline.checks.rules import COOLING

CHECK = Check(
    slug="liquid-not-over-suction",
    tables=("visits",),
    severity="suspect",
    blames=("suction_psig", "liquid_psig"),
    caught=COOLING & (pl.col("liquid_psig") <= pl.col("suction_psig")),
    message="liquid pressure {liquid_psig} psig is not over the suction pressure {suction_psig} psig while cooling",
    advice="Check that the two were not swapped and that the compressor ran; read again.",
    source="physics: a running compressor lifts the pressure",
    example_caught={"mode": "cooling", "suction_psig": 120.0, "liquid_psig": 120.0},
    example_inside={"mode": "cooling", "suction_psig": 120.0, "liquid_psig": 121.0},
)
