"""How complete and how believable each technician's readings are: counts with intervals, never an accusation."""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

Z_90 = 1.6448536269514722
"""Standard normal 95 % point: intervals hold 90 %."""

TUNE_UP = ("maintenance", "inspection")
GAUGES = ("suction_psig", "liquid_psig")
READ = (
    "herm_uf", "fan_uf", "blower_uf", "herm_volts", "fan_volts", "outdoor_db_f", "return_db_f", "supply_db_f",
    "suction_psig", "liquid_psig", "suction_line_f", "liquid_line_f", "return_wb_f", "return_rh_pct",
    "recorded_superheat_f", "recorded_subcooling_f", "recorded_split_f", "static_in_wc",
)  # fmt: skip
CAPACITOR = ("herm_uf", "fan_uf", "blower_uf", "herm_amps", "fan_amps")

SUSPECT = "suspect"

VISIT_COLUMNS = tuple(
    dict.fromkeys(["unit_id", "visit_id", "visit_date", "technician", "visit_type", *READ, *CAPACITOR])
)
"""Fields of visits that are read."""

MONTHS = 24
"""How far back visits count: about two rounds through the fleet (engineering choice)."""

QUALITY_SCHEMA = pl.Schema(
    {
        "technician": pl.String,
        "visits": pl.Int64,
        "kind": pl.String,
        "count": pl.Int64,
        "of": pl.Int64,
        "share": pl.Float64,
        "share_low": pl.Float64,
        "share_high": pl.Float64,
        "digit_p_value": pl.Float64,
        "favourite_digit": pl.Int64,
    }
)
"""One row per technician and kind of reading; shares are 0 to 1, intervals hold 90 %."""


def wilson_low(count: pl.Expr, of: pl.Expr) -> pl.Expr:
    """Return the lower end of the 90 % Wilson interval of ``count`` out of ``of``; null where ``of`` is 0.

    References
    ----------
    E. B. Wilson, "Probable inference, the law of succession, and statistical inference", Journal of the American
    Statistical Association 22 (1927).
    """
    return _wilson(count, of, -Z_90)


def wilson_high(count: pl.Expr, of: pl.Expr) -> pl.Expr:
    """Return the upper end of the interval; see ``wilson_low``."""
    return _wilson(count, of, Z_90)


def technician_quality(visits: pl.DataFrame, suspects: pl.DataFrame, digits: pl.DataFrame) -> pl.DataFrame:
    """Return, per technician and kind of reading, how often it was complete, with intervals.

    Parameters
    ----------
    visits
        Visits with technician, visit_type, unit_id, visit_id and any reading columns.
    suspects
        ``SUSPECT_SCHEMA``: every reading held not believable.
    digits
        ``digit_preference``.

    Returns
    -------
    polars.DataFrame
        ``QUALITY_SCHEMA``, sorted by technician and kind. Kinds and what they are counted of:

        ``capacitors``  a capacitor reading, of tune-ups on units that ever had one;
        ``air``         outdoor, return and supply air, of visits with any reading;
        ``gauges``      both pressures and both line temperatures, of visits where gauges were put on: a tune-up
                        without gauges is good practice, not a gap;
        ``wet_bulb``    wet bulb or humidity, of visits where gauges were put on;
        ``suspect``     a reading held not believable, of visits with any reading.
    """
    rows = _padded(visits).filter(pl.col("technician").is_not_null())
    held = suspects.select("visit_id", "unit_id").unique().with_columns(pl.lit(True).alias("_held"))
    capped = rows.filter(_any(CAPACITOR)).select("unit_id").unique().with_columns(pl.lit(True).alias("_capped"))
    rows = rows.join(held, on=["visit_id", "unit_id"], how="left").join(capped, on="unit_id", how="left")
    gauged = _any(GAUGES)
    groups: Mapping[str, tuple[pl.Expr, pl.Expr]] = {
        "capacitors": (_any(CAPACITOR), pl.col("visit_type").is_in(TUNE_UP) & pl.col("_capped")),
        "air": (_all("outdoor_db_f", "return_db_f", "supply_db_f"), _any(READ)),
        "gauges": (_all(*GAUGES, "suction_line_f", "liquid_line_f"), gauged),
        "wet_bulb": (_any(("return_wb_f", "return_rh_pct")), gauged),
        SUSPECT: (pl.col("_held"), _any(READ)),
    }
    visits_made = rows.group_by("technician").agg(pl.len().cast(pl.Int64).alias("visits"))
    counted = [
        rows.group_by("technician").agg(
            pl.lit(name).alias("kind"),
            (hit.fill_null(False) & of.fill_null(False)).sum().cast(pl.Int64).alias("count"),
            of.fill_null(False).sum().cast(pl.Int64).alias("of"),
        )
        for name, (hit, of) in groups.items()
    ]
    share = pl.when(pl.col("of") > 0).then(pl.col("count") / pl.col("of"))
    return (
        pl.concat(counted)
        .join(visits_made, on="technician", how="left")
        .join(digits.select("technician", "digit_p_value", "favourite_digit"), on="technician", how="left")
        .select(
            "technician",
            "visits",
            "kind",
            "count",
            "of",
            share.alias("share"),
            wilson_low(pl.col("count"), pl.col("of")).alias("share_low"),
            wilson_high(pl.col("count"), pl.col("of")).alias("share_high"),
            "digit_p_value",
            "favourite_digit",
        )
        .sort("technician", "kind")
        .cast(QUALITY_SCHEMA)
    )


def _wilson(count: pl.Expr, of: pl.Expr, z: float) -> pl.Expr:
    share = count / of
    middle = share + z * z / (2 * of)
    half = z * (share * (1 - share) / of + z * z / (4 * of * of)).sqrt()
    return pl.when(of > 0).then(((middle + half) / (1 + z * z / of)).clip(0.0, 1.0))


def _any(names: tuple[str, ...]) -> pl.Expr:
    return pl.any_horizontal(pl.col(name).is_not_null() for name in names)


def _all(*names: str) -> pl.Expr:
    return pl.all_horizontal(pl.col(name).is_not_null() for name in names)


def _padded(visits: pl.DataFrame) -> pl.DataFrame:
    lacking = [name for name in (*READ, *CAPACITOR, "visit_type") if name not in visits.columns]
    return visits.with_columns(pl.lit(None).alias(name) for name in dict.fromkeys(lacking))
