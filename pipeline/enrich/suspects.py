"""Readings that are possible but not believable, seen against the ratings in force and against each other.

What one row alone gives away is in ``pipeline/checks/rows``; what needs ratings, saturation or history is here.
"""

from __future__ import annotations

import polars as pl

from pipeline.checks.check import SUSPECT_SCHEMA
from pipeline.checks.rules import looks_swapped
from pipeline.enrich.capacitor_facts import BENCH, UNDER_LOAD
from pipeline.enrich.copied_ratings import copied_ratings

LINE_VOLTS_LOW, LINE_VOLTS_HIGH = 195.0, 253.0
"""Supplies of 208 to 240 V, 5 % either way [V]; across a section under load there are usually 300 to 400 V.
Common practice, no source."""

LINE_VOLTS_SAME_PCT = 3.0
"""Volts across a section this near the line voltage of the same visit are the line voltage [%]. Engineering guess."""

LINE_VOLTS_RATIO = 1.2
"""With line voltage in the formula a good section reads about 1.5 times its rating; above this ratio it is taken for
that. Common practice for the 1.5, the limit is an engineering guess."""

MARGIN_F = 8.0
"""A line this far on the impossible side of saturation contradicts the pressure [degF]: gauges allow about 2.4 degF
(plus or minus 3.5 psi suction, 7 psi liquid: California 2013 Residential Appendix RA3.2.2.2), a strapped thermometer
about as much again, the rest is pressure drop (engineering guess)."""

OUTDOOR_MARGIN_F = 5.0
"""Condensing this far below the air that cools the condenser cannot be [degF]. Engineering guess."""

AIR_MARGIN_F = 3.0
"""Two air thermometers may differ by this much [degF]. Common practice, no source."""

SLIP_NEAR_PCT = 15.0
"""Ten times (or a tenth of) the reading this near the rating is a slip of the decimal sign [%]. Engineering guess."""

SWAPPED = "sections_swapped"
SLIPPED = "decimal_slip"
LINE_VOLTAGE = "line_voltage_used"

CONTRADICTIONS: tuple[tuple[str, tuple[str, ...], pl.Expr, str], ...] = (
    (
        "suction_line_colder_than_saturation",
        ("suction_psig", "suction_line_f"),
        pl.col("suction_saturation_f") - pl.col("suction_line_f") > MARGIN_F,
        "suction line {suction_line_f} degF is colder than the refrigerant boils at that pressure, "
        "{suction_saturation_f} degF",
    ),
    (
        "liquid_line_hotter_than_saturation",
        ("liquid_psig", "liquid_line_f"),
        pl.col("liquid_line_f") - pl.col("liquid_saturation_f") > MARGIN_F,
        "liquid line {liquid_line_f} degF is hotter than the refrigerant condenses at that pressure, "
        "{liquid_saturation_f} degF",
    ),
    (
        "condensing_below_outdoor",
        ("liquid_psig", "outdoor_db_f"),
        pl.col("outdoor_db_f") - pl.col("liquid_saturation_f") > OUTDOOR_MARGIN_F,
        "refrigerant would condense at {liquid_saturation_f} degF, below the outdoor air {outdoor_db_f} degF",
    ),
    (
        "evaporating_above_return_air",
        ("suction_psig", "return_db_f"),
        pl.col("suction_saturation_f") - pl.col("return_db_f") > AIR_MARGIN_F,
        "refrigerant would boil at {suction_saturation_f} degF, above the return air {return_db_f} degF",
    ),
    (
        "supply_colder_than_coil",
        ("suction_psig", "supply_db_f"),
        pl.col("suction_saturation_f") - pl.col("supply_db_f") > AIR_MARGIN_F,
        "supply air {supply_db_f} degF is colder than the refrigerant in the coil, {suction_saturation_f} degF",
    ),
    (
        "condenser_leaving_colder_than_outdoor",
        ("condenser_leaving_f", "outdoor_db_f"),
        pl.col("outdoor_db_f") - pl.col("condenser_leaving_f") > AIR_MARGIN_F,
        "air leaves the condenser at {condenser_leaving_f} degF, colder than the outdoor air {outdoor_db_f} degF",
    ),
    (
        "discharge_colder_than_condensing",
        ("liquid_psig", "discharge_line_f"),
        pl.col("liquid_saturation_f") - pl.col("discharge_line_f") > MARGIN_F,
        "discharge line {discharge_line_f} degF is colder than the refrigerant condenses at that pressure, "
        "{liquid_saturation_f} degF",
    ),
)
"""Reason, fields at fault, when, and why; each holds for a system that is cooling."""


RECORDED: tuple[tuple[str, pl.Expr, str], ...] = (
    (
        "superheat",
        pl.col("suction_line_f") - pl.col("suction_saturation_f"),
        "superheat {recorded_superheat_f} degF was recorded, but the suction line {suction_line_f} degF and "
        "{suction_psig} psig give {superheat_f} degF",
    ),
    (
        "subcooling",
        pl.col("liquid_saturation_f") - pl.col("liquid_line_f"),
        "subcooling {recorded_subcooling_f} degF was recorded, but the liquid line {liquid_line_f} degF and "
        "{liquid_psig} psig give {subcooling_f} degF",
    ),
    (
        "split",
        pl.col("return_db_f") - pl.col("supply_db_f"),
        "a split of {recorded_split_f} degF was recorded, but return {return_db_f} degF and supply {supply_db_f} degF "
        "give {temperature_split_f} degF",
    ),
)
"""What a meter computed: its name, the same from the readings, and what is said where the two lie too far apart."""


def recorded_differs(name: str) -> pl.Expr:
    """Return whether a recorded ``superheat``, ``subcooling`` or ``split`` and the readings differ beyond the error of
    both, on a visit that is not known to be heating; the readings then count."""
    read = next(read for known, read, _ in RECORDED if known == name)
    apart = (read - pl.col(f"recorded_{name}_f")).abs() > pl.col(f"{name}_apart_f")
    return (pl.col("mode") == "cooling").fill_null(True) & apart.fill_null(False)


def charge_suspects(charge: pl.DataFrame) -> pl.DataFrame:
    """Return pressures and temperatures of cooling visits that cannot both be right, and recorded values that differ.

    Parameters
    ----------
    charge
        Rows of ``charge_inputs``: mode as decided, the readings, suction_saturation_f (dew) and liquid_saturation_f
        (bubble), superheat_f, subcooling_f, temperature_split_f; of ``add_uncertainty``: superheat_apart_f,
        subcooling_apart_f, split_apart_f [degF].

    Returns
    -------
    polars.DataFrame
        ``SUSPECT_SCHEMA``, one row per visit, unit, field and reason, sorted. A missing reading contradicts nothing.
    """
    cooling = charge.filter(pl.col("mode") == "cooling")
    found = [
        _held(cooling.filter(when), fields, reason, _text(message)) for reason, fields, when, message in CONTRADICTIONS
    ]
    for name, _, message in RECORDED:
        field, reason = f"recorded_{name}_f", f"recorded_{name}_differs_from_readings"
        found.append(_held(charge.filter(recorded_differs(name)), (field,), reason, _text(message)))
    return _sorted(found)


def capacitor_suspects(readings: pl.DataFrame, visits: pl.DataFrame, copying: pl.DataFrame) -> pl.DataFrame:
    """Return capacitor readings that their ratings, the line voltage or the technician's habit speak against.

    Parameters
    ----------
    readings
        Capacitor readings with the rating in force (``core.capacitor_readings``).
    visits
        The same visits, for herm_volts, fan_volts and line_volts.
    copying
        Technicians who copy ratings, found over the whole shop (``copied_ratings.copying``).

    Returns
    -------
    polars.DataFrame
        ``SUSPECT_SCHEMA``, sorted.
    """
    return _sorted(
        [
            swapped_sections(readings),
            decimal_slips(readings, visits),
            line_voltage_used(readings, visits),
            copied_ratings(readings, copying),
        ]
    )


def swapped_sections(readings: pl.DataFrame) -> pl.DataFrame:
    """Return bench readings of both sections that fit the two ratings only the other way round."""
    bench = readings.filter((pl.col("method") == BENCH) & ~pl.col("is_new_part"))
    key = ["visit_id", "unit_id"]
    sections = {
        name: bench.filter(section=name).select(
            *key, pl.col("measured_uf").alias(f"{name}_uf"), pl.col("rated_uf").alias(f"{name}_rated_uf")
        )
        for name in ("herm", "fan")
    }
    both = sections["herm"].join(sections["fan"], on=key, how="inner")
    swapped = looks_swapped(*(pl.col(n) for n in ("herm_uf", "fan_uf", "herm_rated_uf", "fan_rated_uf")))
    message = (
        "{herm_uf} uF on the hermetic and {fan_uf} uF on the fan section fit the ratings {herm_rated_uf} and "
        "{fan_rated_uf} uF only the other way round"
    )
    return _held(both.filter(swapped), ("herm_uf", "fan_uf"), SWAPPED, _text(message))


def decimal_slips(readings: pl.DataFrame, visits: pl.DataFrame) -> pl.DataFrame:
    """Return readings that fit the rating once their decimal sign is moved by one place.

    A section may truly have lost nine tenths, but then it was replaced or the system did not run: a low reading on a
    visit with a replacement, of a system that did not cool, or with run_capacitor as its cause is believed.
    """
    bench = readings.filter((pl.col("method") == BENCH) & ~pl.col("is_new_part") & (pl.col("rated_uf") > 0))
    broken = visits.filter(_is(visits, "visit_type", "no_cooling") | _is(visits, "cause", "run_capacitor"))
    failed = broken.select("visit_id", "unit_id", pl.lit(True).alias("_failed"))
    rows = bench.join(failed, on=["visit_id", "unit_id"], how="left")
    allowed = pl.col("rated_uf") * SLIP_NEAR_PCT / 100
    low = (10 * pl.col("measured_uf") - pl.col("rated_uf")).abs() <= allowed
    high = (pl.col("measured_uf") / 10 - pl.col("rated_uf")).abs() <= allowed
    believed = pl.col("at_replacement") | pl.col("_failed").fill_null(False)
    message = _text("{measured_uf} uF on a rating of {rated_uf} uF looks like a slip of the decimal sign")
    return _marked(rows.filter((low & ~believed) | high), pl.format("{}_uf", "section"), SLIPPED, message)


def _is(visits: pl.DataFrame, name: str, word: str) -> pl.Expr:
    return (pl.col(name) == word).fill_null(False) if name in visits.columns else pl.lit(False)


def line_voltage_used(readings: pl.DataFrame, visits: pl.DataFrame) -> pl.DataFrame:
    """Return readings under load whose volts are the supply's, not those across the section.

    The volts given equal the line voltage of the visit, or they lie where supplies do and the reading is far over the
    rating.

    Notes
    -----
    Across a section under load the volts are higher than the supply's, usually 300 to 400 V on a 208 to 240 V supply,
    so that line voltage makes C = 2652.58 I / V about 1.5 times too large (trade practice; issue facts).
    """
    loaded = readings.filter((pl.col("method") == UNDER_LOAD) & ~pl.col("is_new_part"))
    found = []
    for section in ("herm", "fan"):
        if f"{section}_volts" not in visits.columns:
            continue
        line = pl.col("line_volts") if "line_volts" in visits.columns else pl.lit(None, pl.Float64)
        given = pl.col(f"{section}_volts")
        volts = visits.select("visit_id", "unit_id", given.cast(pl.Float64), line.cast(pl.Float64).alias("line_volts"))
        rows = loaded.filter(section=section).join(volts, on=["visit_id", "unit_id"], how="inner")
        same = (given - pl.col("line_volts")).abs() <= pl.col("line_volts") * LINE_VOLTS_SAME_PCT / 100
        over = pl.col("measured_uf") > LINE_VOLTS_RATIO * pl.col("rated_uf")
        supply = given.is_between(LINE_VOLTS_LOW, LINE_VOLTS_HIGH)
        hit = rows.filter(supply & (same.fill_null(False) | over.fill_null(False)))
        message = f"{{{section}_volts}} V is the supply, not the volts across the section; the reading is too high"
        found.append(_held(hit, (f"{section}_volts",), LINE_VOLTAGE, _text(message)))
    return _sorted(found)


def _text(template: str) -> pl.Expr:
    """Return the expression that fills ``{column}`` with that column, to the tenth."""
    pieces = template.replace("}", "{").split("{")
    shown = [
        pl.lit(piece) if n % 2 == 0 else pl.col(piece).cast(pl.Float64).round(1).cast(pl.String).str.strip_suffix(".0")
        for n, piece in enumerate(pieces)
    ]
    return pl.concat_str(shown)


def _held(hit: pl.DataFrame, fields: tuple[str, ...], reason: str, message: pl.Expr) -> pl.DataFrame:
    return pl.concat(_marked(hit, pl.lit(field), reason, message) for field in fields)


def _marked(hit: pl.DataFrame, field: pl.Expr, reason: str, message: pl.Expr) -> pl.DataFrame:
    return hit.select(
        "visit_id",
        "unit_id",
        field.alias("field"),
        pl.lit(reason).alias("reason"),
        message.alias("message"),
    )


def _sorted(found: list[pl.DataFrame]) -> pl.DataFrame:
    every = pl.concat([pl.DataFrame(schema=SUSPECT_SCHEMA), *found])
    return every.sort("unit_id", "visit_id", "field", "reason")
