"""Warranty: what can be claimed and until when, what to test and register, and what became of the claims made."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from reports.advice import label
from reports.claim_words import MOST_PACKETS, NO_MAKER, PACKETS, STATES, left, maker_file, part_and_quantity, with_words
from reports.format import MONTHS, count, day, number, sentence_start
from reports.page import Page, Site

PAGE = Page(
    slug="warranty",
    title="Warranty",
    order=37,
    queries={
        "warranty_claims": (),
        "warranty_register": (),
        "warranty_refunds_due": (),
        "warranty_unbilled": (),
        "warranty_by_maker": (),
        "warranty_by_month": (),
        "warranty_denials": (),
        "warranty_not_known": (),
    },
)

Row = Mapping[str, Any]
SHOWN = 200
"""Claims listed of one state; all are in lists/claims.csv."""


@dataclass(frozen=True)
class Stated:
    """The claims of one state: those listed, how many there are, what they are worth."""

    rows: tuple[Row, ...]
    in_all: int
    worth: float


@dataclass(frozen=True)
class Warranty:
    """Everything the page shows."""

    headline: str
    lead: tuple[str, ...]
    to_file: Stated
    to_test: Stated
    filed: Stated
    lapsed: Stated
    lapsed_covered: float
    register: tuple[Row, ...]
    refunds: tuple[Row, ...]
    refunds_in_all: int
    refunds_worth: float
    unbilled: tuple[Row, ...]
    unbilled_in_all: int
    unbilled_cost: bool
    makers: tuple[Row, ...]
    answers: tuple[Row, ...]
    answers_said: str
    months: tuple[Row, ...]
    denials: tuple[Row, ...]
    not_known: tuple[Row, ...]


def build(frames: Mapping[str, pl.DataFrame], site: Site) -> Warranty:
    """Return the page's context from the marts' frames (``PAGE.queries``)."""
    claims = frames["warranty_claims"]
    packets = packets_of(claims)
    stated = {state: _stated(claims, state, packets) for state in ("to_file", "test_before_lapse", "filed", "lapsed")}
    refunds, unbilled = frames["warranty_refunds_due"], frames["warranty_unbilled"]
    makers = tuple(
        {**row, "maker": row["claim_to"] or NO_MAKER, "file": maker_file(row["claim_to"])}
        for row in frames["warranty_by_maker"].iter_rows(named=True)
    )
    answers = tuple(row for row in makers if row["filed_long_ago"] or row["waiting_claims"] or row["credits_seen"])
    lost = sum(row["lost_lapsed"] for row in makers)
    return Warranty(
        headline=_headline(stated["to_file"], site),
        lead=_lead(stated, claims, lost, site),
        to_file=stated["to_file"],
        to_test=stated["test_before_lapse"],
        filed=stated["filed"],
        lapsed=stated["lapsed"],
        lapsed_covered=lost,
        register=tuple(
            {**row, "left": left(row["register_by"], row["days_left"])}
            for row in frames["warranty_register"].iter_rows(named=True)
        ),
        refunds=tuple(
            {**row, "part_words": label(row["part"]), "state_words": STATES.get(row["state"], "none")}
            for row in refunds.iter_rows(named=True)
        ),
        refunds_in_all=int(refunds["refunds"][0]) if refunds.height else 0,
        refunds_worth=float(refunds["paid_in_all"][0]) if refunds.height else 0.0,
        unbilled=tuple(
            {
                **row,
                "item_words": part_and_quantity(row["item"], row["quantity"]),
                "shown": sentence_start(row["shown_by"]),
            }
            for row in unbilled.iter_rows(named=True)
        ),
        unbilled_in_all=int(unbilled["items"][0]) if unbilled.height else 0,
        unbilled_cost=unbilled["cost"].count() > 0,
        makers=makers,
        answers=answers,
        answers_said=_answers(answers),
        months=tuple(
            {**row, "month_words": f"{MONTHS[row['month'].month - 1]} {row['month'].year}"}
            for row in frames["warranty_by_month"].iter_rows(named=True)
        ),
        denials=tuple(
            {**row, "part_words": label(row["part"]), "file": maker_file(row["claim_to"])}
            for row in frames["warranty_denials"].iter_rows(named=True)
        ),
        not_known=tuple(frames["warranty_not_known"].iter_rows(named=True)),
    )


def packets_of(claims: pl.DataFrame) -> frozenset[str]:
    """Return the claims that have a page to print."""
    return frozenset(claims.filter(pl.col("state").is_in(PACKETS)).head(MOST_PACKETS)["claim_id"])


def _stated(claims: pl.DataFrame, state: str, packets: frozenset[str]) -> Stated:
    rows = claims.filter(pl.col("state") == state)
    shown = tuple(with_words(row, packets) for row in rows.head(SHOWN).iter_rows(named=True))
    return Stated(shown, rows.height, float(rows["amount"].fill_null(0.0).sum()))


def _answers(rows: tuple[Row, ...]) -> str:
    """Return what can be said of makers' answers, with its counts."""
    long_ago, answered, seen, waiting = (
        sum(row[name] or 0 for row in rows)
        for name in ("filed_long_ago", "long_ago_answered", "credits_seen", "waiting_claims")
    )
    longest = max((row["longest_waiting"] or 0 for row in rows), default=0)
    said = []
    if long_ago:
        said.append(f"Of {count(long_ago, 'claim')} filed more than 90 days ago, {number(answered)} are answered.")
    if waiting:
        verb = "waits" if waiting == 1 else "wait"
        said.append(f"{count(waiting, 'claim')} still {verb}, the longest for {number(longest)} days.")
    if seen:
        said.append(f"{count(seen, 'credit')} came between two imports: their days are known as a most.")
    else:
        said.append(
            "Days to credit are not known yet: every answer on file was there when its claim was first imported. They "
            "are counted from the imports to come."
        )
    return " ".join(said)


def _headline(to_file: Stated, site: Site) -> str:
    if not to_file.in_all:
        return "No claim to file"
    return f"{count(to_file.in_all, 'claim')} to file, worth {number(to_file.worth, 2)} {site.currency}"


def _lead(stated: Mapping[str, Stated], claims: pl.DataFrame, lost: float, site: Site) -> tuple[str, ...]:
    said = []
    first = next(iter(stated["to_file"].rows), None)
    if first is not None and first["deadline"] is not None:
        which = "It" if stated["to_file"].in_all == 1 else "The first"
        said.append(f"{which} must be filed by {day(first['deadline'])}.")
    test = stated["test_before_lapse"]
    if test.in_all:
        said.append(
            f"{count(test.in_all, 'part')} that looked weak {'loses its' if test.in_all == 1 else 'lose their'} "
            f"coverage before or soon after the season, the first on {day(test.rows[0]['covered_until'])}: "
            "test before then."
        )
    won = float(claims.filter(pl.col("state") == "credited")["amount"].fill_null(0.0).sum())
    if won or lost:
        said.append(
            f"In {site.currency}: {number(won, 2)} credited so far, {number(lost, 2)} covered and never claimed."
        )
    if not claims.height:
        said.append(
            "Nothing on file is known to be covered. Coverage needs an install date and a term in the units' export, "
            "and parts fitted with their cost."
        )
    return tuple(said)
