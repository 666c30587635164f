"""Supply wet bulb clearly over the dry bulb: one of the two is wrong, and nobody can say which."""

import polars as pl

from pipeline.checks.registry import Check
from pipeline.checks.rules import ROUNDING_F, WET_OVER_DRY_F

CHECK = Check(
    slug="supply-wet-bulb-over-dry-bulb",
    tables=("visits",),
    severity="reject_value",
    blames=("supply_wb_f", "supply_db_f"),
    caught=pl.col("supply_wb_f") - pl.col("supply_db_f") > WET_OVER_DRY_F + ROUNDING_F,
    message="supply wet bulb {supply_wb_f} degF is more than 2 degF over the dry bulb {supply_db_f} degF; "
    "both values were left empty",
    advice="Correct the one that is wrong (often the two are swapped) and import again.",
    source="physics: no wet bulb is over its dry bulb; 2 degF for two thermometers is common practice, no source",
    example_caught={"supply_wb_f": 58.5, "supply_db_f": 56.0},
    example_inside={"supply_wb_f": 58.0, "supply_db_f": 56.0},
)
