"""The packet of one claim: what a maker asks for, with the rows of the files that it comes from."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from reports.advice import label
from reports.charge_words import SEARCH, VERDICTS
from reports.claim_words import PACKETS, packet_file, with_words
from reports.page import Page, Site
from reports.pages.warranty import packets_of

PAGE = Page(
    slug="claim",
    title="Claim",
    order=93,
    queries={"warranty_claims": (), "claim_readings": (), "claim_charge": ()},
    many=True,
)

Row = Mapping[str, Any]
CAPACITOR = "run_capacitor"
CHARGED = frozenset(
    {
        "compressor",
        "evaporator_coil",
        "condenser_coil",
        "metering_device",
        "reversing_valve",
        "line_set",
        "refrigerant_leak",
    }
)
"""Parts whose fault the charge history may show."""
READINGS_SHOWN = 40


@dataclass(frozen=True)
class Claim:
    """One packet."""

    file: str
    row: Row
    missing: tuple[str, ...]
    notes: tuple[str, ...]
    readings: tuple[Row, ...]
    charge: tuple[Row, ...]


def build(frames: Mapping[str, pl.DataFrame], _site: Site) -> Iterator[Claim]:
    """Yield one context per claim to file, to test or waiting."""
    claims = frames["warranty_claims"].filter(pl.col("state").is_in(PACKETS))
    packets = packets_of(claims)
    readings, charge = (
        frames[name].partition_by("unit_id", as_dict=True) for name in ("claim_readings", "claim_charge")
    )
    for row in claims.iter_rows(named=True):
        if row["claim_id"] in packets:
            own = (row["unit_id"],)
            shown = readings.get(own) if row["part"] == CAPACITOR else None
            charged = charge.get(own) if row["part"] in CHARGED else None
            yield Claim(
                file=packet_file(row["claim_id"]),
                row={**with_words(row, packets), "cause_words": label(row["cause"]) if row["cause"] else None},
                missing=_split(row["missing"]),
                notes=_split(with_words(row, packets)["note"]),
                readings=_rows(shown, row, section=row["section"]),
                charge=tuple(_judged(reading) for reading in _rows(charged, row)),
            )


def _judged(reading: Row) -> Row:
    return {
        **reading,
        "verdict_words": VERDICTS.get(reading["charge_verdict"] or "", "not judged"),
        "leak_words": SEARCH.get(reading["leak_found"] or "", ""),
    }


def _split(text: str | None) -> tuple[str, ...]:
    return tuple(text.split("; ")) if text else ()


def _rows(frame: pl.DataFrame | None, claim: Row, section: str | None = None) -> tuple[Row, ...]:
    """Return the readings up to the visit of the claim, newest first; all of a part still in place.

    Where the claim is of one section, the others show nothing for it.
    """
    if frame is None:
        return ()
    if section is not None:
        frame = frame.filter(pl.col("section") == section)
    upto = frame if claim["visit_date"] is None else frame.filter(pl.col("visit_date") <= claim["visit_date"])
    return tuple(upto.head(READINGS_SHOWN).iter_rows(named=True))
