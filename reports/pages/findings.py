"""Open findings: what was found and never put right, how long it is open, and what the customer decided."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl

from reports.charge_words import age, decided, finding, found
from reports.format import count, number, reason_text, sentence_start
from reports.page import Page, Site

PAGE = Page(
    slug="findings",
    title="Open findings",
    order=35,
    queries={"findings_counts": (), "findings_list": (), "findings_repaired": ()},
)

Row = Mapping[str, Any]
MOST_DECLINED = 200
"""Declined findings listed on the page (a limit on size, engineering choice)."""


@dataclass(frozen=True)
class Findings:
    """Everything the page shows; ``to_act`` is what no customer has declined."""

    headline: str
    lead: str
    counts: tuple[Row, ...]
    to_act: tuple[Row, ...]
    to_act_in_all: int
    declined: tuple[Row, ...]
    declined_in_all: int
    kinds: tuple[str, ...]
    repaired: tuple[Row, ...]


def build(frames: Mapping[str, pl.DataFrame], _site: Site) -> Findings:
    """Return the page's context from the marts' frames (``PAGE.queries``)."""
    counts = [
        {**row, "label": sentence_start(finding(row["finding"]))}
        for row in frames["findings_counts"].iter_rows(named=True)
    ]
    listed = [_shown(row) for row in frames["findings_list"].iter_rows(named=True)]
    to_act = [row for row in listed if row["decision"] != "declined"]
    declined = [row for row in listed if row["decision"] == "declined"]
    in_all, said_no = (sum(row[key] for row in counts) for key in ("still_open", "declined"))
    return Findings(
        headline=f"{count(in_all, 'finding')} with no repair on file" if in_all else "No finding is open on file",
        lead=_lead(counts, in_all, said_no),
        counts=tuple(counts),
        to_act=tuple(to_act),
        to_act_in_all=in_all - said_no,
        declined=tuple(declined[:MOST_DECLINED]),
        declined_in_all=said_no,
        kinds=tuple(sorted({row["label"] for row in to_act})),
        repaired=tuple(
            {**row, "label": sentence_start(finding(row["finding"])), "by": reason_text(row["resolved_by"] or "")}
            for row in frames["findings_repaired"].iter_rows(named=True)
        ),
    )


def _lead(counts: Sequence[Row], in_all: int, declined: int) -> str:
    if not in_all:
        return (
            "Weak capacitor sections, doubtful charge, leaks and what technicians saw will stand here until a part, a "
            "repair or a later reading puts them right."
        )
    asked = sum(row["not_asked"] for row in counts)
    approved = sum(row["approved"] + row["waiting_for_part"] for row in counts)
    said = [
        f"{number(approved)} {'is' if approved == 1 else 'are'} approved or waiting for the part: do "
        f"{'it' if approved == 1 else 'these'} first."
        if approved
        else "",
        f"For {number(asked)} no decision of the customer is on file: offer {'it' if asked == 1 else 'them'}"
        f"{' next' if approved else ''}, the likeliest to fail first."
        if asked
        else "",
        f"{number(declined)} {'was' if declined == 1 else 'were'} declined: the customer's decision, not neglect."
        if declined
        else "",
    ]
    return " ".join(sentence for sentence in said if sentence)


def _shown(row: Row) -> Row:
    shown, more = found(row["finding"], row["evidence"])
    return {
        **row,
        "label": sentence_start(finding(row["finding"])),
        "shown": shown,
        "more": more,
        "said": decided(row["decision"]),
        "asked": "no" if row["decision"] is None else "yes",
        "age": age(row["days_open"]),
    }
