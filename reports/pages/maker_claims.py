"""All claims on one maker: the rows behind its recovered, waiting and lost money."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from reports.claim_words import NO_MAKER, maker_file, with_words
from reports.page import Page, Site
from reports.pages.warranty import packets_of

PAGE = Page(slug="maker_claims", title="Claims on a maker", order=94, queries={"warranty_claims": ()}, many=True)

Row = Mapping[str, Any]
SHOWN = 1000
"""Claims listed of one maker, the newest visits first (a limit on size)."""


@dataclass(frozen=True)
class MakerClaims:
    """One maker's claims."""

    file: str
    maker: str
    rows: tuple[Row, ...]
    in_all: int


def build(frames: Mapping[str, pl.DataFrame], _site: Site) -> Iterator[MakerClaims]:
    """Yield one context per maker with a claim."""
    claims = frames["warranty_claims"]
    packets = packets_of(claims)
    for (maker,), rows in sorted(
        claims.partition_by("claim_to", as_dict=True).items(), key=lambda item: (item[0][0] is None, str(item[0][0]))
    ):
        newest = rows.sort("visit_date", "claim_id", descending=[True, False], nulls_last=False).head(SHOWN)
        yield MakerClaims(
            file=maker_file(maker),
            maker=maker or NO_MAKER,
            rows=tuple(with_words(row, packets) for row in newest.iter_rows(named=True)),
            in_all=rows.height,
        )
