"""How sure a charge verdict can be: instrument accuracy carried through to superheat, subcooling and their deviations.

An accuracy "plus or minus a" is taken as a limit with nothing known inside it, hence a standard deviation of
a / sqrt(3) (rectangular distribution; JCGM 100:2008, Guide to the Expression of Uncertainty in Measurement, 4.3.7).
"""

from __future__ import annotations

import math

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
        deviation_sd_f [degF]; superheat_limit_f, subcooling_limit_f (the most that the instruments allow); and
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
    out = out.with_columns(
        suction_saturation_sd_f=suction_limit * LIMIT_TO_SD,
        liquid_saturation_sd_f=liquid_limit * LIMIT_TO_SD,
        superheat_sd_f=_together(suction_limit, line) * LIMIT_TO_SD,
        subcooling_sd_f=_together(liquid_limit, liquid_line) * LIMIT_TO_SD,
        superheat_limit_f=suction_limit + line,
        subcooling_limit_f=liquid_limit + liquid_line,
        target_sd_f=_target_sd(settings, limits),
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


def _target_sd(settings: Charge, limits: Limits) -> pl.Expr:
    """The target's own error: conditions read with the same thermometers, and the model behind it."""
    dry = thermometer_limit_f(pl.col("outdoor_db_f").fill_null(80.0), settings) * LIMIT_TO_SD
    air = thermometer_limit_f(pl.lit(65.0), settings) * LIMIT_TO_SD
    from_humidity = pl.when(pl.col("wet_bulb_source") == "humidity").then(
        WET_BULB_PER_HUMIDITY * settings.humidity_pct * LIMIT_TO_SD
    )
    doubtful = pl.when(pl.col("return_wb_f") > pl.col("return_db_f")).then(DOUBTFUL_WET_BULB_SD_F)
    wet = _together(air, from_humidity.fill_null(0.0), doubtful.fill_null(0.0))
    model = pl.when(pl.col("target_source") == "chart").then(0.0).otherwise(limits.target_model_sd_f)
    orifice = _together(1.5 * wet, 0.5 * dry, model)
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
