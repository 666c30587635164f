"""Return wet bulb up to 2 degF over the dry bulb: two thermometers disagree, the air is about saturated."""

import polars as pl

from pipeline.checks.registry import Check
from pipeline.checks.rules import ROUNDING_F, WET_OVER_DRY_F

OVER = pl.col("return_wb_f") - pl.col("return_db_f")

CHECK = Check(
    slug="return-wet-bulb-just-over-dry-bulb",
    tables=("visits",),
    severity="suspect",
    blames=("return_wb_f", "return_db_f"),
    caught=(OVER > ROUNDING_F) & (OVER <= WET_OVER_DRY_F + ROUNDING_F),
    message="return wet bulb {return_wb_f} degF is over the dry bulb {return_db_f} degF",
    advice="Wet the sock and let both thermometers settle in the same air.",
    source="physics: no wet bulb is over its dry bulb; 2 degF for two thermometers is common practice, no source",
    example_caught={"return_wb_f": 71.0, "return_db_f": 70.0},
    example_inside={"return_wb_f": 70.0, "return_db_f": 70.0},
)
