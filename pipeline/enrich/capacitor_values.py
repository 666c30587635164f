"""From visits to one reading per visit, unit and section: what was measured, and how."""

from __future__ import annotations

import math

import polars as pl

from pipeline.enrich.capacitor_facts import BENCH, FROM_NOTES, SECTIONS, UNDER_LOAD

FOUND, EVENT, AFTER = 0, 1, 2
"""Order within one visit: the reading as found, the replacement, the new part's reading."""

UNDER_LOAD_SECTIONS = ("herm", "fan")
VISIT_ORDER = ["unit_id", "section", "visit_date", "visit_id", "step"]


def under_load_uf(amps: pl.Expr, volts: pl.Expr, frequency_hz: float) -> pl.Expr:
    """Return the capacitance of a section under load [uF].

    Parameters
    ----------
    amps
        Amps in the start-winding lead [A].
    volts
        Volts across the section, not line voltage [V]; 0 or less gives null.
    frequency_hz
        Line frequency [Hz].

    Notes
    -----
    C = I / (2 pi f V), in microfarads 1e6 times that: 2652.58 I/V at 60 Hz, 3183.10 I/V at 50 Hz.
    """
    farads = amps / (2 * math.pi * frequency_hz * volts)
    return pl.when(volts > 0).then(1e6 * farads)


def section_values(visits: pl.DataFrame, frequency_hz: float) -> pl.DataFrame:
    """Return the readings of every section in long form: bench before under load before notes.

    Parameters
    ----------
    visits
        Visits of whole units with the registry's columns; missing reading columns count as blank. ``from_notes``
        names the fields that the notes filled.
    frequency_hz
        Line frequency [Hz].

    Returns
    -------
    pl.DataFrame
        unit_id, visit_id, visit_date, visit_type, cause, technician, section, step (0 as found, 2 new
        part), measured_uf [uF], method; one row per visit, unit, section and step that has a reading.
    """
    parts = []
    for section in SECTIONS:
        bench, told = _column(visits, f"{section}_uf"), _from_notes(visits, f"{section}_uf")
        if section in UNDER_LOAD_SECTIONS:
            load = under_load_uf(_column(visits, f"{section}_amps"), _column(visits, f"{section}_volts"), frequency_hz)
        else:
            load = pl.lit(None, dtype=pl.Float64)
        typed = pl.when(~told).then(bench)
        method = (
            pl.when(typed.is_not_null())
            .then(pl.lit(BENCH))
            .when(load.is_not_null())
            .then(pl.lit(UNDER_LOAD))
            .otherwise(pl.lit(FROM_NOTES))
        )
        after = f"{section}_uf_after"
        after_method = pl.when(_from_notes(visits, after)).then(pl.lit(FROM_NOTES)).otherwise(pl.lit(BENCH))
        parts.append(_long(visits, section, FOUND, pl.coalesce(typed, load, bench), method))
        parts.append(_long(visits, section, AFTER, _column(visits, after), after_method))
    return pl.concat(parts).filter(pl.col("measured_uf").is_not_null()).sort(VISIT_ORDER)


def _column(visits: pl.DataFrame, name: str) -> pl.Expr:
    return pl.col(name) if name in visits.columns else pl.lit(None, dtype=pl.Float64)


def _from_notes(visits: pl.DataFrame, name: str) -> pl.Expr:
    """Whether a value filled a blank from the notes (``fill_from_notes``); it counts where nothing was typed."""
    if "from_notes" not in visits.columns:
        return pl.lit(False)
    return pl.col("from_notes").list.contains(name).fill_null(False)


def _long(visits: pl.DataFrame, section: str, step: int, value: pl.Expr, method: pl.Expr) -> pl.DataFrame:
    return visits.select(
        "unit_id",
        "visit_id",
        "visit_date",
        "visit_type",
        "cause",
        "technician",
        section=pl.lit(section),
        step=pl.lit(step, dtype=pl.Int8),
        measured_uf=value,
        method=method,
    )
