"""Supply air warmer than the return while the ticket says cooling."""

import polars as pl

from pipeline.checks.registry import Check
from pipeline.checks.rules import BLOWER_HEAT_F

CHECK = Check(
    slug="supply-warmer-than-return",
    tables=("visits",),
    severity="suspect",
    blames=("supply_db_f", "return_db_f"),
    # Only where the ticket says so: a blank mode is itself decided from these two.
    caught=(pl.col("mode") == "cooling") & (pl.col("supply_db_f") - pl.col("return_db_f") > BLOWER_HEAT_F),
    message="supply air {supply_db_f} degF is warmer than the return air {return_db_f} degF while cooling",
    advice="Check that the two were not swapped and that the system cooled; read again.",
    source="a blower adds 1 to 3 degF (common practice, no source); more needs a heat source",
    example_caught={"mode": "cooling", "supply_db_f": 78.5, "return_db_f": 75.0},
    example_inside={"mode": "cooling", "supply_db_f": 78.0, "return_db_f": 75.0},
)
