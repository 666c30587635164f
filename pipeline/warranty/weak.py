"""Parts that readings or observations show to be weak, before anything has failed."""

from __future__ import annotations

import polars as pl

from pipeline.config import Warranty
from pipeline.enrich.part_slots import WHOLE
from pipeline.warranty.proof import SECTION_NAMES

WEAK_SCHEMA = pl.Schema(
    {
        "unit_id": pl.String,
        "part": pl.String,
        "slot": pl.String,
        "section": pl.String,
        "body": pl.String,
        "shown_on": pl.Date,
        "weight": pl.Float64,
        "reading_pct": pl.Float64,
        "tolerance_pct": pl.Float64,
        "evidence": pl.String,
        "missing": pl.String,
        "tests": pl.String,
        "source_file": pl.String,
        "source_line": pl.Int64,
    }
)
"""One row per sign. ``body`` is what is replaced as one thing, the heaviest sign of it counts; ``shown_on`` null where
the sign is of the part in place by construction; ``tests`` says what a maker would want to see before crediting; the
place is that of the visit which shows it."""

BODY = {"herm": "dual", "fan": "dual", "blower": "blower"}
"""Sections that sit in one can, as a rule."""
LEAK = "refrigerant_leak"
"""Stands for a leak that nobody has located yet."""
SEEN = {
    "pitted_contactor": ("contactor", 1.0, "contacts burnt through, welded, or a coil out of order; pitting is wear"),
    "noisy_compressor": ("compressor", 1.0, "a failed winding, valves or bearings by the maker's own test"),
    "leak_found": (LEAK, 3.0, "the leak located, and in a part that the term covers"),
    "oil_stain": (LEAK, 2.0, "the leak located, and in a part that the term covers"),
    "topped_up_without_repair": (LEAK, 1.0, "the leak located, and in a part that the term covers"),
}
"""Finding to part, weight among the signs of that part, and the test (common practice, no source)."""
COILS = {
    "evaporator_coil": r"evap|indoor|a-coil|inside",
    "condenser_coil": r"cond|outdoor|outside",
}
"""Words in leak_location that name a coil (common practice, no source)."""
MOTORS = {
    "compressor": ("compressor_amps", "compressor_rla_amps", "rated load amps"),
    "condenser_fan_motor": ("condenser_fan_amps", "fan_fla_amps", "full load amps"),
}
MOTOR_TEST = "amps over the plate with voltage, coils and charge in order, or a failed winding or bearing"
MOST_OVER = 2.0
"""More than so many times the plate is a slip of the pen, or a start current (engineering choice)."""


def weak_sections(sections: pl.DataFrame, settings: Warranty) -> pl.DataFrame:
    """Return ``WEAK_SCHEMA`` of capacitor sections that are out of tolerance or likely to be by the season's end.

    Parameters
    ----------
    sections : DataFrame
        ``core.section_forecast``.
    settings : Warranty
        From what chance on a section is weak.
    """
    out = (
        pl.when("already_out")
        .then(pl.lit("that is out of its tolerance"))
        .otherwise(
            pl.format(
                "{} in 100 that it is out of its tolerance by {}",
                (100 * pl.col("p_out_by_season_end")).round(0).cast(pl.Int64),
                "season_end",
            )
        )
    )
    weak = sections.filter(
        pl.col("last_reading_on").is_not_null()
        & (pl.col("already_out") | (pl.col("p_out_by_season_end") >= settings.weak_chance))
    )
    return _as_weak(
        weak.with_columns(
            part=pl.lit("run_capacitor"),
            slot="section",
            body=pl.format("run_capacitor {}", pl.col("section").replace_strict(BODY, default=None)),
            weight=pl.col("p_out_by_season_end").cast(pl.Float64),
            reading_pct="drift_pct",
            evidence=pl.format(
                "{} section last read on {}, by now estimated {} % {} its label; {}",
                pl.col("section").replace(SECTION_NAMES),
                "last_reading_on",
                pl.col("drift_pct").abs().round(1),
                pl.when(pl.col("drift_pct") < 0).then(pl.lit("under")).otherwise(pl.lit("over")),
                out,
            ),
            tests=pl.lit("a bench reading outside the label tolerance, or a failed section"),
        )
    )


def weak_found(findings: pl.DataFrame, visits: pl.DataFrame) -> pl.DataFrame:
    """Return ``WEAK_SCHEMA`` of what was found and still stands open: contactor, compressor, a leak.

    Parameters
    ----------
    findings : DataFrame
        ``core.open_findings``: unit_id, finding, found_on, visit_id, evidence, resolved_on.
    visits : DataFrame
        unit_id, visit_id, leak_location, and their place: a leak that names a coil is that coil's.
    """
    kinds = pl.DataFrame(
        [(finding, *told) for finding, told in SEEN.items()],
        schema={"finding": pl.String, "part": pl.String, "weight": pl.Float64, "tests": pl.String},
        orient="row",
    )
    rows = findings.filter(pl.col("resolved_on").is_null()).join(kinds, on="finding", how="inner")
    located = visits.join(rows.select("unit_id", "visit_id").unique(), on=["unit_id", "visit_id"], how="semi").select(
        "unit_id", "visit_id", "source_file", "source_line", where=pl.col("leak_location").str.to_lowercase()
    )
    coil = pl.coalesce(
        *(pl.when(pl.col("where").str.contains(words)).then(pl.lit(part)) for part, words in COILS.items())
    )
    leak = pl.col("part") == LEAK
    placed = rows.join(located.unique(["unit_id", "visit_id"]), on=["unit_id", "visit_id"], how="left").with_columns(
        part=pl.when(leak).then(pl.coalesce(coil, "part")).otherwise("part")
    )
    return _as_weak(
        placed.with_columns(
            slot=pl.lit(WHOLE),
            body=pl.when(leak).then(pl.lit("leak")).otherwise("part"),
            shown_on="found_on",
            evidence=pl.format("{} on {}, still open", pl.col("evidence").fill_null(""), "found_on"),
            missing=pl.when(pl.col("part") == LEAK).then(pl.lit("where the leak is")),
        )
    )


def weak_motors(visits: pl.DataFrame, units: pl.DataFrame) -> pl.DataFrame:
    """Return ``WEAK_SCHEMA`` of motors whose newest amps lie over their plate.

    Parameters
    ----------
    visits : DataFrame
        unit_id, visit_date, compressor_amps, condenser_fan_amps [A], and their place.
    units : DataFrame
        unit_id, compressor_rla_amps, fan_fla_amps [A].
    """
    found = []
    for part, (read, plate, name) in MOTORS.items():
        rated = units.filter(pl.col(plate) > 0).select("unit_id", rated=plate)
        newest = (
            visits.filter(pl.col(read) > 0)
            .join(rated, on="unit_id", how="inner")
            .sort("unit_id", "visit_date", maintain_order=True)
            .unique("unit_id", keep="last", maintain_order=True)
            .with_columns(over=pl.col(read) / pl.col("rated"))
        )
        found.append(
            _as_weak(
                newest.filter((pl.col("over") > 1) & (pl.col("over") <= MOST_OVER)).with_columns(
                    part=pl.lit(part),
                    slot=pl.lit(WHOLE),
                    body=pl.lit(part),
                    shown_on="visit_date",
                    weight=pl.col("over"),
                    evidence=pl.format(
                        f"{{}} A on {{}}, the plate's {name} are {{}} A",
                        pl.col(read).round(1),
                        "visit_date",
                        pl.col("rated").round(1),
                    ),
                    tests=pl.lit(MOTOR_TEST),
                )
            )
        )
    return pl.concat(found)


def _as_weak(rows: pl.DataFrame) -> pl.DataFrame:
    absent = [pl.lit(None, kind).alias(name) for name, kind in WEAK_SCHEMA.items() if name not in rows.columns]
    return rows.with_columns(absent).select(list(WEAK_SCHEMA)).cast(WEAK_SCHEMA)
