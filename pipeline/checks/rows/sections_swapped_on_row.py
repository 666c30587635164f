"""Hermetic and fan readings that each fit the other section's rating, where the row carries the ratings."""

import polars as pl

from pipeline.checks.registry import Check
from pipeline.checks.rules import looks_swapped

CHECK = Check(
    slug="sections-swapped-on-row",
    tables=("visits",),
    severity="suspect",
    blames=("herm_uf", "fan_uf"),
    caught=looks_swapped(pl.col("herm_uf"), pl.col("fan_uf"), pl.col("cap_herm_uf"), pl.col("cap_fan_uf")),
    message="{herm_uf} uF on the hermetic section and {fan_uf} uF on the fan section fit the ratings "
    "{cap_herm_uf} and {cap_fan_uf} uF only the other way round",
    advice="If the two were swapped, correct both in the export and import again.",
    source="common practice, no source: hermetic sections are several times the size of fan sections",
    example_caught={"herm_uf": 4.8, "fan_uf": 38.5, "cap_herm_uf": 40.0, "cap_fan_uf": 5.0},
    example_inside={"herm_uf": 38.5, "fan_uf": 4.8, "cap_herm_uf": 40.0, "cap_fan_uf": 5.0},
)
