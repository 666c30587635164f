"""All claims on one maker: the rows behind its recovered, waiting and lost money."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from reports.claim_words import NO_MAKER, maker_file, with_words
from reports.format import count, number
from reports.page import Page, Site
from reports.pages.warranty import packets_of

PAGE = Page(slug="maker_claims", title="Claims on a maker", order=94, queries={"warranty_claims": ()}, many=True)

Row = Mapping[str, Any]
SHOWN = 1000
"""Claims listed of one maker, open ones and the newest visits first (a limit on size)."""


@dataclass(frozen=True)
class MakerClaims:
    """One maker's claims."""

    file: str
    maker: str
    rows: tuple[Row, ...]
    in_all: int
    said: tuple[str, ...]


OPEN = ("to_file", "filed", "test_before_lapse")
"""States that something is still to be done about, which stand first."""
SUMMED: Mapping[str, str] = {
    "credited": "credited",
    "filed": "waiting",
    "to_file": "to file",
    "denied": "denied",
    "lapsed": "lapsed unclaimed",
}


def build(frames: Mapping[str, pl.DataFrame], site: Site) -> Iterator[MakerClaims]:
    """Yield one context per maker with a claim."""
    claims = frames["warranty_claims"]
    packets = packets_of(claims)
    for (maker,), rows in sorted(
        claims.partition_by("claim_to", as_dict=True).items(), key=lambda item: (item[0][0] is None, str(item[0][0]))
    ):
        newest = rows.sort(
            pl.col("state").is_in(OPEN),
            "visit_date",
            "claim_id",
            descending=[True, True, False],
            nulls_last=False,
        ).head(SHOWN)
        yield MakerClaims(
            file=maker_file(maker),
            maker=maker or NO_MAKER,
            rows=tuple(with_words(row, packets) for row in newest.iter_rows(named=True)),
            in_all=rows.height,
            said=tuple(_said(rows, site)),
        )


def _said(rows: pl.DataFrame, site: Site) -> Iterator[str]:
    """Yield how many claims of each state there are and what they are worth."""
    for state, told in SUMMED.items():
        of_state = rows.filter(pl.col("state") == state)
        if of_state.height:
            worth = float(of_state["amount"].fill_null(0.0).sum())
            yield f"{number(of_state.height)} {told} ({number(worth, 2)} {site.currency})"
    to_test = rows.filter(pl.col("state") == "test_before_lapse").height
    if to_test:
        yield f"{count(to_test, 'part')} to test before the coverage ends"
