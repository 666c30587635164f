"""Coverage of the part that each fitted part took the place of, along the chain of replacements."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import polars as pl

from pipeline.config import Warranty
from pipeline.enrich.part_slots import in_slots
from pipeline.warranty.terms import add_years

CHAIN = ["unit_id", "part", "slot"]

CARRIED = ("failed_until", "failed_basis", "failed_make", "failed_serial", "failed_fitted_on", "failed_visit_id")


@dataclass(frozen=True)
class Chains:
    """What the chains of replacements say.

    Attributes
    ----------
    taken_out : DataFrame
        The rows of parts, in their order, with the unit's terms and of the part taken out: failed_until (last day
        covered), failed_basis, failed_make, failed_serial, failed_fitted_on, failed_visit_id; covered, and
        not_covered_because where it was not.
    in_place : DataFrame
        unit_id, part, slot, failed_until, failed_basis and the others of the part now in place, for every chain that
        has a replacement.
    """

    taken_out: pl.DataFrame
    in_place: pl.DataFrame


def follow_chains(
    parts: pl.DataFrame, visits: pl.DataFrame, terms: pl.DataFrame, settings: Warranty, as_of: dt.date
) -> Chains:
    """Return the coverage of what each fitted part took the place of, and of what is now in place.

    Parameters
    ----------
    parts : DataFrame
        As ``store.history.parts_of`` gives them.
    visits : DataFrame
        unit_id, visit_id, visit_type.
    terms : DataFrame
        ``terms.TERMS_SCHEMA``.
    settings : Warranty
        Parts no unit term covers, whether a warranty replacement carries the rest of the original term.
    as_of : date
        A claim not yet filed still counts as one until its filing window is over.

    Notes
    -----
    The first part of its kind is the one the unit came with and has the unit's term. One fitted in place of a covered
    part carries the rest of that term: exactly that where a claim was made or still can be, at least that where it was
    not; one whose claim was denied, or that took the place of a part out of coverage, has only the term stated for it.
    """
    kinds = visits.select("unit_id", "visit_id", "visit_type").unique(["unit_id", "visit_id"])
    rows = (
        parts.with_row_index("place")
        .join(kinds, on=["unit_id", "visit_id"], how="left")
        .join(terms, on="unit_id", how="left")
        .with_columns(
            at_install=(pl.col("visit_type") == "install").fill_null(False),
            before_install=(pl.col("visit_date") < pl.col("starts_on")).fill_null(False),
            own_until=add_years(pl.col("visit_date"), pl.col("part_warranty_years")),
        )
    )
    links, in_place = _follow(_in_links(rows.filter(~pl.col("before_install"))), settings, as_of)
    longest = (
        links.sort("failed_until", nulls_last=False).group_by("place").agg(pl.col(name).last() for name in CARRIED)
    )
    judged = rows.join(longest, on="place", how="left").with_columns(_covered())
    because = judged.with_columns(not_covered_because=_why_not(settings))
    return Chains(because.sort("place").drop("place", "own_until"), in_place)


def _in_links(rows: pl.DataFrame) -> pl.DataFrame:
    """Return a row per part and place it was fitted in, with its place in the chain of replacements."""
    return (
        in_slots(rows)
        .sort(*CHAIN, "visit_date", "visit_id", "row_n")
        .with_columns(chain_begins=_differs(CHAIN), link_begins=_differs([*CHAIN, "visit_date", "visit_id"]))
        .with_columns(links=pl.col("link_begins").cum_sum().cast(pl.Int64))
        .with_columns(before=pl.when("chain_begins").then(pl.col("links") - 1).forward_fill())
        .with_columns(link=pl.col("links") - pl.col("before"))
        .drop("chain_begins", "link_begins", "links", "before")
    )


def _differs(columns: list[str]) -> pl.Expr:
    """Whether a row differs from the one before in any of the columns."""
    return pl.any_horizontal(pl.col(name).ne_missing(pl.col(name).shift(1)) for name in columns) | (
        pl.int_range(pl.len()) == 0
    )


def _follow(slots: pl.DataFrame, settings: Warranty, as_of: dt.date) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Return the slots with the coverage of the part before, link by link of the chain, and that of the last link."""
    before = _original(slots, settings)
    linked, carried = (
        [slots.clear().join(before.clear(), on=CHAIN, how="left").with_columns(_covered())],
        [before.clear()],
    )
    for link in range(1, _most(slots) + 1):
        here = slots.filter(pl.col("link") == link).join(before, on=CHAIN, how="left").with_columns(_covered())
        before = _carried(here, settings, as_of)
        linked.append(here)
        carried.append(before)
    return pl.concat(linked), pl.concat(carried).unique(CHAIN, keep="last", maintain_order=True)


def _original(slots: pl.DataFrame, settings: Warranty) -> pl.DataFrame:
    """Return the coverage of the part that the unit came with."""
    compressor = pl.col("part") == "compressor"
    until = pl.when(~_excluded(settings)).then(pl.when(compressor).then("compressor_until").otherwise("parts_until"))
    basis = pl.when(compressor).then(pl.lit("unit's compressor term")).otherwise(pl.lit("unit's parts term"))
    return slots.unique(CHAIN, maintain_order=True).select(
        *CHAIN,
        failed_until=until,
        failed_basis=pl.when(until.is_not_null()).then(basis),
        failed_make=pl.lit(None, pl.String),
        failed_serial=pl.lit(None, pl.String),
        failed_fitted_on=pl.col("starts_on"),
        failed_visit_id=pl.lit(None, pl.String),
    )


def _excluded(settings: Warranty) -> pl.Expr:
    return pl.col("part").is_in([word.strip() for word in settings.not_covered.split(",")])


def _most(slots: pl.DataFrame) -> int:
    most = slots["link"].max()
    return int(most) if isinstance(most, int) else 0


def _covered() -> pl.Expr:
    inside = (pl.col("visit_date") <= pl.col("failed_until")).fill_null(False)
    return (inside & ~pl.col("at_install") & ~pl.col("before_install")).alias("covered")


def _carried(here: pl.DataFrame, settings: Warranty, as_of: dt.date) -> pl.DataFrame:
    """Return for each chain until when the part now in place is covered."""
    in_time = pl.col("visit_date").dt.offset_by(pl.format("{}d", "filing_days")) >= as_of
    claimed = pl.col("claim_status").is_in(["filed", "credited"]) | pl.col("claimed_on").is_not_null() | in_time
    own, rest = pl.col("own_until"), pl.col("failed_until")
    longer = pl.max_horizontal(own, rest)
    until = (
        pl.when("at_install")
        .then(longer)
        .when(~pl.col("covered") | (pl.col("claim_status") == "denied").fill_null(False))
        .then(own)
        .when(pl.lit(not settings.rest_of_original))
        .then(pl.coalesce(own, rest))
        .when(claimed)
        .then(rest)
        .otherwise(longer)
    )
    from_own = (pl.col("until") == own).fill_null(False) & (own != rest).fill_null(True)
    return (
        here.with_columns(until=until)
        .with_columns(
            basis=pl.when(pl.col("until").is_null())
            .then(None)
            .when(from_own)
            .then(pl.lit("term of the part fitted before"))
            .otherwise(pl.col("failed_basis").str.replace(", carried on", "", literal=True) + ", carried on")
        )
        .group_by(CHAIN, maintain_order=True)
        .agg(
            failed_until=pl.col("until").last(),
            failed_basis=pl.col("basis").last(),
            failed_make=pl.when(from_own).then("part_make").last(),
            failed_serial=pl.col("serial_in").last(),
            failed_fitted_on=pl.col("visit_date").last(),
            failed_visit_id=pl.col("visit_id").last(),
        )
    )


def _why_not(settings: Warranty) -> pl.Expr:
    return (
        pl.when("covered")
        .then(None)
        .when("before_install")
        .then(pl.lit("fitted before the install date in the register"))
        .when("at_install")
        .then(pl.lit("fitted at the install, not in place of a failed part"))
        .when(pl.col("failed_until").is_not_null())
        .then(pl.format("coverage ended on {}", "failed_until"))
        .when(_excluded(settings))
        .then(pl.lit("not a part that a unit's term covers"))
        .when(pl.col("starts_on").is_null())
        .then(pl.lit("no install date"))
        .otherwise(pl.lit("no term is stated"))
    )
