"""How sure a charge verdict can be: instrument accuracy carried through to superheat, subcooling and their deviations.

An accuracy "plus or minus a" is taken as a limit with nothing known inside it, hence a standard deviation of
a / sqrt(3) (rectangular distribution; JCGM 100:2008, Guide to the Expression of Uncertainty in Measurement, 4.3.7).
What only a note tells has an error of its own beside the instrument's.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import polars as pl
from scipy.special import ndtr

from pipeline.config import Charge
from pipeline.enrich.charge_targets import FIXED_ORIFICE
from pipeline.enrich.limits import Limits
from pipeline.enrich.refrigerants import saturation_slope

LIMIT_TO_SD = 1.0 / math.sqrt(3.0)
TYPICAL_SLOPE = 0.55
"""degF per psi on the suction side, between R-22 (0.69) and R-32 (0.43) at 40 degF: for readings a meter computed."""
TYPICAL_LIQUID_SLOPE = 0.25
"""The same on the liquid side near 105 degF (R-22 0.32, R-410A 0.21)."""
WET_BULB_PER_HUMIDITY = 0.23
"""degF of wet bulb per point of relative humidity near 75 degF and 50 % (from the handbook's equations)."""
DOUBTFUL_WET_BULB_SD_F = 2.0
"""A wet bulb above the dry bulb is wrong by up to the 2 degF that the rules of import still let pass."""


def normal_cdf(z: pl.Expr) -> pl.Expr:
    """Return the standard normal distribution function; null stays null."""

    def compute(column: pl.Series) -> pl.Series:
        return pl.Series(ndtr(column.cast(pl.Float64).to_numpy())).fill_nan(None)

    return z.map_batches(compute, return_dtype=pl.Float64, is_elementwise=True)


def thermometer_limit_f(temp_f: pl.Expr, settings: Charge) -> pl.Expr:
    """Return the accuracy of a thermometer at a reading [degF], plus or minus.

    References
    ----------
    2008 Residential Appendices, RA3.2.2.2.1: 0.1 % of the reading plus 1.3 degF.
    """
    return settings.thermometer_pct / 100.0 * temp_f.abs() + settings.thermometer_f


def add_uncertainty(frame: pl.DataFrame, *, settings: Charge, limits: Limits) -> pl.DataFrame:
    """Add the standard deviations of what was derived, and the odds that the deviation is outside its band.

    Parameters
    ----------
    frame : pl.DataFrame
        What ``charge_inputs`` and ``add_targets`` return, with superheat_deviation_f and subcooling_deviation_f.
    settings : Charge
        Accuracy of the instruments.
    limits : Limits
        Bands, and the error of the targets.

    Returns
    -------
    pl.DataFrame
        Rows kept. Added: suction_saturation_sd_f, liquid_saturation_sd_f, superheat_sd_f, subcooling_sd_f, target_sd_f,
        deviation_sd_f [degF]; superheat_limit_f, subcooling_limit_f (the most that the instruments allow);
        split_sd_f; superheat_apart_f, subcooling_apart_f, split_apart_f (how far apart what was read and what a meter
        recorded may lie, each with the instruments' error); and
        p_charge_low, p_charge_high, the odds that the true deviation lies beyond the band on that side.
    """
    refrigerant = pl.col("refrigerant")
    dew = saturation_slope(refrigerant, pl.col("suction_psia"), "dew").fill_null(TYPICAL_SLOPE)
    bubble = saturation_slope(refrigerant, pl.col("liquid_psia"), "bubble").fill_null(TYPICAL_LIQUID_SLOPE)
    line, liquid_line = (
        thermometer_limit_f(pl.col(name).fill_null(60.0), settings) for name in ("suction_line_f", "liquid_line_f")
    )
    out = frame.with_columns(
        suction_saturation_limit_f=dew * settings.suction_gauge_psi,
        liquid_saturation_limit_f=bubble * settings.liquid_gauge_psi,
    )
    suction_limit, liquid_limit = pl.col("suction_saturation_limit_f"), pl.col("liquid_saturation_limit_f")
    noted = _noted(limits)
    suction_sd = _together(suction_limit * LIMIT_TO_SD, dew * noted("suction_psig"))
    liquid_sd = _together(liquid_limit * LIMIT_TO_SD, bubble * noted("liquid_psig"))
    air = [
        thermometer_limit_f(pl.col(n).fill_null(65.0), settings) * LIMIT_TO_SD for n in ("return_db_f", "supply_db_f")
    ]
    superheat = _together(suction_sd, line * LIMIT_TO_SD, noted("suction_line_f"))
    subcooling = _together(liquid_sd, liquid_line * LIMIT_TO_SD, noted("liquid_line_f"))
    split = _together(*air, noted("return_db_f"), noted("supply_db_f"))
    read_split = pl.col("return_db_f") - pl.col("supply_db_f")
    recorded = {"superheat": superheat, "subcooling": subcooling, "split": split}
    out = out.with_columns(
        suction_saturation_sd_f=suction_sd,
        liquid_saturation_sd_f=liquid_sd,
        superheat_sd_f=_where_recorded("superheat", superheat, noted),
        subcooling_sd_f=_where_recorded("subcooling", subcooling, noted),
        superheat_limit_f=suction_limit + line,
        subcooling_limit_f=liquid_limit + liquid_line,
        split_sd_f=pl.when(read_split.is_not_null()).then(split).otherwise(_together(split, noted("recorded_split_f"))),
        target_sd_f=_target_sd(settings, limits, noted),
        **{
            f"{name}_apart_f": limits.recorded_apart_sds * _together(sd, sd, noted(f"recorded_{name}_f"))
            for name, sd in recorded.items()
        },
    ).drop("suction_saturation_limit_f", "liquid_saturation_limit_f")
    reading_sd = pl.when(FIXED_ORIFICE).then(pl.col("superheat_sd_f")).otherwise(pl.col("subcooling_sd_f"))
    out = out.with_columns(deviation_sd_f=_together(reading_sd, pl.col("target_sd_f")))
    # towards low charge: more superheat, less subcooling
    loss = pl.when(FIXED_ORIFICE).then(pl.col("superheat_deviation_f")).otherwise(-pl.col("subcooling_deviation_f"))
    band = pl.when(FIXED_ORIFICE).then(limits.superheat_band_f).otherwise(limits.subcooling_band_f)
    return out.with_columns(
        p_charge_low=normal_cdf((loss - band) / pl.col("deviation_sd_f")),
        p_charge_high=normal_cdf((-loss - band) / pl.col("deviation_sd_f")),
    )


def _noted(limits: Limits) -> Callable[[str], pl.Expr]:
    """Return what gives the standard deviation that a field has because only a note told it, else 0."""

    def sd(field: str) -> pl.Expr:
        if field.startswith("recorded_"):
            size = limits.note_difference_sd_f
        else:
            size = limits.note_pressure_sd_psi if field.endswith("_psig") else limits.note_temperature_sd_f
        told = pl.col("from_notes").list.contains(field).fill_null(False)
        return pl.when(told).then(size).otherwise(0.0)

    return sd


def _where_recorded(name: str, read: pl.Expr, noted: Callable[[str], pl.Expr]) -> pl.Expr:
    """Return the error of what was read, else of what a meter computed, which carries its own two instruments."""
    recorded = pl.col(f"{name}_source") == "recorded"
    return pl.when(recorded).then(_together(read, noted(f"recorded_{name}_f"))).otherwise(read)


def _target_sd(settings: Charge, limits: Limits, noted: Callable[[str], pl.Expr]) -> pl.Expr:
    """The target's own error: conditions read with the same thermometers, and the model behind it."""
    dry = _together(
        thermometer_limit_f(pl.col("outdoor_db_f").fill_null(80.0), settings) * LIMIT_TO_SD, noted("outdoor_db_f")
    )
    air = thermometer_limit_f(pl.lit(65.0), settings) * LIMIT_TO_SD
    from_humidity = pl.when(pl.col("wet_bulb_source") == "humidity").then(
        WET_BULB_PER_HUMIDITY * settings.humidity_pct * LIMIT_TO_SD
    )
    doubtful = pl.when(pl.col("return_wb_f") > pl.col("return_db_f")).then(DOUBTFUL_WET_BULB_SD_F)
    wet = _together(air, from_humidity.fill_null(0.0), doubtful.fill_null(0.0), noted("return_wb_f"))
    model = pl.when(pl.col("target_source") == "chart").then(0.0).otherwise(limits.target_model_sd_f)
    recorded = pl.when(pl.col("target_source") == "recorded").then(noted("recorded_target_superheat_f"))
    orifice = _together(1.5 * wet, 0.5 * dry, model, recorded.fill_null(0.0))
    valve = (
        pl.when(pl.col("target_source") == "default")
        .then(limits.default_target_sd_f)
        .otherwise(limits.plate_target_sd_f)
    )
    return pl.when(FIXED_ORIFICE).then(orifice).otherwise(valve)


def _together(*parts: pl.Expr) -> pl.Expr:
    """Return the root of the sum of squares."""
    total = parts[0].pow(2)
    for part in parts[1:]:
        total = total + part.pow(2)
    return total.sqrt()
