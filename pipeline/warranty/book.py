"""The warranty book of the shop: everything this package works out, from the frames of the store."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import polars as pl

from pipeline.config import Warranty
from pipeline.warranty.claims import claims
from pipeline.warranty.expected import to_test
from pipeline.warranty.fitted import follow_chains
from pipeline.warranty.proof import failed_readings
from pipeline.warranty.registration import to_register
from pipeline.warranty.terms import unit_terms
from pipeline.warranty.unbilled import not_billed
from pipeline.warranty.weak import weak_found, weak_motors, weak_sections

VISIT_COLUMNS = (
    "unit_id",
    "visit_id",
    "visit_date",
    "visit_type",
    "cause",
    "leak_found",
    "leak_location",
    "compressor_amps",
    "condenser_fan_amps",
    "refrigerant_added_oz",
    "herm_uf_after",
    "fan_uf_after",
    "blower_uf_after",
    "invoice_total",
)
"""Fields of visits that the book reads, beside their place in the files."""


@dataclass(frozen=True)
class Book:
    """Claims (``claims.CLAIMS_SCHEMA``), terms, own installs to register, and what was not billed."""

    claims: pl.DataFrame
    terms: pl.DataFrame
    to_register: pl.DataFrame
    unbilled: pl.DataFrame


def warranty_book(
    *,
    visits: pl.DataFrame,
    parts: pl.DataFrame,
    units: pl.DataFrame,
    sites: pl.DataFrame,
    readings: pl.DataFrame,
    sections: pl.DataFrame,
    findings: pl.DataFrame,
    told: pl.DataFrame,
    settings: Warranty,
    as_of: dt.date,
    season_end: dt.date,
) -> Book:
    """Return the warranty book as of a day.

    Parameters
    ----------
    visits, parts, units, sites : DataFrame
        As the store's history gives them, up to ``as_of``.
    readings, sections : DataFrame
        ``core.capacitor_readings`` and ``core.section_forecast``.
    findings : DataFrame
        ``core.open_findings``.
    told : DataFrame
        Parts and refrigerant that only a note tells of: unit_id, visit_id, item, quantity, snippet.
    settings : Warranty
        Terms, windows and allowances.
    as_of : date
        The day to look from.
    season_end : date
        End of the season in question: what lapses soon after it is worth a test.
    """
    terms = unit_terms(units, sites, visits, settings)
    chains = follow_chains(parts, visits, terms, settings, as_of)
    proof = failed_readings(parts, visits, readings)
    made = claims(chains.taken_out, proof, units, settings, as_of)
    signs = pl.concat([weak_sections(sections, settings), weak_found(findings, visits), weak_motors(visits, units)])
    weak = to_test(signs, chains.in_place, terms, units, parts, settings, as_of, season_end)
    return Book(
        claims=pl.concat([made, weak]),
        terms=terms,
        to_register=to_register(units, visits, terms, settings, as_of),
        unbilled=not_billed(visits, parts, made, told),
    )
