"""From visits to one reading per visit, unit and section: what was measured, and how."""

from __future__ import annotations

import math

import polars as pl

from pipeline.enrich.capacitor_facts import BENCH, SECTIONS, UNDER_LOAD

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
    """Return the readings of every section in long form, bench before under load.

    Parameters
    ----------
    visits
        Visits of whole units with the registry's columns; missing reading columns count as blank.
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
        bench = _column(visits, f"{section}_uf")
        if section in UNDER_LOAD_SECTIONS:
            load = under_load_uf(_column(visits, f"{section}_amps"), _column(visits, f"{section}_volts"), frequency_hz)
        else:
            load = pl.lit(None, dtype=pl.Float64)
        method = pl.when(bench.is_not_null()).then(pl.lit(BENCH)).otherwise(pl.lit(UNDER_LOAD))
        parts.append(_long(visits, section, FOUND, pl.coalesce(bench, load), method))
        parts.append(_long(visits, section, AFTER, _column(visits, f"{section}_uf_after"), pl.lit(BENCH)))
    return pl.concat(parts).filter(pl.col("measured_uf").is_not_null()).sort(VISIT_ORDER)


def _column(visits: pl.DataFrame, name: str) -> pl.Expr:
    return pl.col(name) if name in visits.columns else pl.lit(None, dtype=pl.Float64)


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
