"""Supply wet bulb up to 2 degF over the dry bulb: two thermometers disagree, the air is about saturated."""

import polars as pl

from pipeline.checks.registry import Check
from pipeline.checks.rules import ROUNDING_F, WET_OVER_DRY_F

OVER = pl.col("supply_wb_f") - pl.col("supply_db_f")

CHECK = Check(
    slug="supply-wet-bulb-just-over-dry-bulb",
    tables=("visits",),
    severity="suspect",
    blames=("supply_wb_f", "supply_db_f"),
    caught=(OVER > ROUNDING_F) & (OVER <= WET_OVER_DRY_F + ROUNDING_F),
    message="supply wet bulb {supply_wb_f} degF is over the dry bulb {supply_db_f} degF",
    advice="Wet the sock and let both thermometers settle in the same air.",
    source="physics: no wet bulb is over its dry bulb; 2 degF for two thermometers is common practice, no source",
    example_caught={"supply_wb_f": 71.0, "supply_db_f": 70.0},
    example_inside={"supply_wb_f": 70.0, "supply_db_f": 70.0},
)
