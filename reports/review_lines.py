"""The first lines of the fleet review: what to do before, in and after the season, each with a place to go to."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl

from reports.advice import label
from reports.charge_words import finding
from reports.format import capacitor_size, chance, count, day, money, number, reason_text, section, weeks, words
from reports.page import Phase, Site

Row = Mapping[str, Any]
Frames = Mapping[str, pl.DataFrame]

QUERIES = (
    "fleet_review_spring",
    "fleet_review_stock",
    "fleet_review_sizes",
    "fleet_review_claims",
    "fleet_review_register",
    "fleet_review_repairs",
    "fleet_review_renewals",
    "fleet_review_trouble",
    "fleet_review_outcome",
    "fleet_review_unseen",
)
MOST_SIZES = 4
WEEKS_COUNTED = 4
"""The pace is told from so many weeks: short enough to feel a change, long enough to bridge a week off (judgement)."""


@dataclass(frozen=True)
class Line:
    """One thing to do.

    Attributes
    ----------
    verb, text
        ``text`` goes on where the verb ends.
    unit
        The unit to begin with (unit_id, customer_name, phone, address), or None.
    lead_in
        What stands before the unit.
    ring
        Whether it is the customer who is to be rung; a claim is between the shop and the maker.
    pages
        Slugs of the page to go to, the best first; the first that there is counts.
    """

    verb: str
    text: str
    unit: Row | None
    lead_in: str
    pages: tuple[str, ...]
    ring: bool = True


def lines(frames: Frames, site: Site) -> tuple[Line, ...]:
    """Return the lines for the date, the most pressing first; those without a case are left out."""
    made = (make(frames, site) for make in ORDER[site.phase])
    return tuple(line for line in made if line is not None) if site.units_active else ()


def _only(frames: Frames, query: str, **wanted: str) -> Row | None:
    """Return the one row of a query, or the one of a kind; None where there is none."""
    rows = frames[query].iter_rows(named=True)
    return next((row for row in rows if all(row[key] == value for key, value in wanted.items())), None)


def _spring(frames: Frames, site: Site) -> Line | None:
    row = _only(frames, "fleet_review_spring")
    if row is None or not row["agreement_units"] or site.days_to_season is None:
        return None
    left = row["agreement_units"] - row["done"] - row["booked"]
    if not left:
        return None
    still = max(1, math.ceil(site.days_to_season / 7))
    booked = f", {number(row['booked'])} booked" if row["booked"] else ""
    made = row["done_in_4_weeks"]
    pace = f"{number(made / WEEKS_COUNTED, 0 if made >= 10 * WEEKS_COUNTED else 1)} a week were" if made else "none was"
    text = (
        f"to book {count(left, 'spring visit')} under agreement: {number(row['done'])} of "
        f"{number(row['agreement_units'])} are done{booked}. {number(math.ceil(left / still))} a week are needed "
        f"in the {weeks(site.days_to_season)} left; {pace} made in the last four."
    )
    return Line("Call", text, row, "Next in line", ("calls", "find_unit"))


def _sizes(frames: Frames, key: str) -> str:
    rows = [row for row in frames["fleet_review_sizes"].iter_rows(named=True) if row[key]]
    rows.sort(key=lambda row: -row[key])
    named = [f"{number(row[key])} × {capacitor_size(row)}" for row in rows[:MOST_SIZES]]
    rest = sum(row[key] for row in rows[MOST_SIZES:])
    return ", ".join([*named, *([f"{number(rest)} of other sizes"] if rest else [])])


def _order(frames: Frames, _site: Site) -> Line | None:
    rows = _stock(frames, "order")
    if rows:
        due = min((row["order_by"] for row in rows if row["order_by"]), default=None)
        by = f", the first by {day(due)}" if due else ""
        text = f"{count(_pieces(rows), 'piece')} by the plan{by}: {_named(rows)}."
        return Line("Order", text, None, "", ("spring_round",))
    sizes = _sizes(frames, "units")
    text = f"the capacitors that the watch list will probably need: {sizes}."
    return Line("Order", text, None, "", ("watch_list",)) if sizes else None


def _load(frames: Frames, _site: Site) -> Line | None:
    rows = _stock(frames, "truck")
    if rows:
        text = f"{count(_pieces(rows), 'piece')} that the trucks lack of their list for the season: {_named(rows)}."
        return Line("Load", text, None, "", ("spring_round",))
    sizes = _sizes(frames, "units_open")
    text = f"for flagged units not seen this season: {sizes}."
    return Line("Load", text, None, "", ("watch_list",)) if sizes else None


def _stock(frames: Frames, use: str) -> list[Row]:
    return [row for row in frames["fleet_review_stock"].iter_rows(named=True) if row["for_what"] == use]


def _pieces(rows: Sequence[Row]) -> int:
    return sum(row["pieces"] for row in rows)


def _named(rows: Sequence[Row]) -> str:
    kinds = [
        f"{number(row['pieces'])} × {reason_text(row['size']) if row['size'] else label(row['part']).lower()}"
        for row in rows[:MOST_SIZES]
    ]
    rest = len(rows) - len(kinds)
    return ", ".join([*kinds, *([f"and {count(rest, 'other kind')}"] if rest > 0 else [])])


def _test(frames: Frames, _site: Site) -> Line | None:
    row = _only(frames, "fleet_review_claims", state="test_before_lapse")
    if row is None:
        return None
    part = label(row["part"]).lower()
    of = f", {section(row['section'])} section," if row["section"] else ""
    others = f", and {count(row['claims'] - 1, 'other part')} before theirs does" if row["claims"] > 1 else ""
    text = f"the {part}{of} before its warranty ends on {day(row['deadline'])}{others}."
    return Line("Test", text, row, "First", ("warranty",))


def _register(frames: Frames, _site: Site) -> Line | None:
    row = _only(frames, "fleet_review_register")
    if row is None:
        return None
    more = f"; {count(row['installs'] - 1, 'other')} wait too" if row["installs"] > 1 else ""
    make = f" with {words(row['make'])}" if row["make"] else ""
    text = f"your install{make} by {day(row['register_by'])}, or the longer term is lost{more}."
    return Line("Register", text, row, "First", ("warranty",))


def _file(frames: Frames, site: Site) -> Line | None:
    row = _only(frames, "fleet_review_claims", state="to_file")
    if row is None:
        return None
    one = row["claims"] == 1
    amount = f", {number(row['amount'])} {site.currency}{'' if one else ' in all'}," if row["amount"] else ""
    text = f"{count(row['claims'], 'warranty claim')}{amount} {'' if one else 'the first '}by {day(row['deadline'])}."
    return Line("File", text, row, "For" if one else "First, for", ("warranty",), ring=False)


def _chase(frames: Frames, site: Site) -> Line | None:
    row = _only(frames, "fleet_review_claims", state="filed")
    if row is None:
        return None
    over_30, over_90 = row["filed_over_30"], row["filed_over_90"]
    text = (
        f"{count(row['claims'], 'claim')} filed and not answered, {money(row['amount'], site.currency)}: "
        f"{number(over_90)} for more than 90 days{f', {number(over_30)} for 31 to 90' if over_30 else ''}."
    )
    since = f"Oldest, of {day(row['claimed_on'])}" if row["claimed_on"] else "First"
    return Line("Chase", text, row, f"{since}, for", ("warranty",), ring=False)


def _finish(frames: Frames, _site: Site) -> Line | None:
    row = _only(frames, "fleet_review_repairs")
    if row is None:
        return None
    text = f"{count(row['findings'], 'repair')} that customers approved or that wait for a part."
    oldest = f"Oldest, {finding(row['finding']).lower()} of {day(row['found_on'])}"
    return Line("Finish", text, row, oldest, ("findings",))


def _renew_soon(frames: Frames, _site: Site) -> Line | None:
    row = _only(frames, "fleet_review_renewals")
    if row is None or not row["agreements_30_days"]:
        return None
    text = f"{count(row['agreements_30_days'], 'agreement')} ending within 30 days."
    return Line("Renew", text, row, f"First, on {day(row['agreement_renews_on'])}", ("find_unit",))


def _renew(frames: Frames, _site: Site) -> Line | None:
    row = _only(frames, "fleet_review_renewals")
    if row is None:
        return None
    text = f"{count(row['agreements'], 'agreement')} ending before the next season."
    return Line("Renew", text, row, f"First, on {day(row['agreement_renews_on'])}", ("find_unit",))


def _still_open(frames: Frames, site: Site) -> Line | None:
    if not site.units_flagged:
        return None
    unseen = frames["fleet_review_first"].filter(pl.col("flagged") & ~pl.col("seen_in_season"))
    if unseen.is_empty():
        text = "the flagged units again where they are weak: each has been seen since the season began."
        return Line("Check", text, None, "", ("watch_list",))
    text = f"the flagged units that nobody has seen since {day(site.season_start)} before the heat finds them."
    return Line("Visit", text, unseen.row(0, named=True), "First", ("watch_list",))


def _back(frames: Frames, _site: Site) -> Line | None:
    row = _only(frames, "fleet_review_trouble", kind="back")
    if row is None:
        return None
    text = f"after {count(row['calls'], 'call')} that came within 30 days of a visit of ours."
    return Line("Ring", text, row, f"Newest, on {day(row['visit_date'])}", ("parts_and_makes", "findings"))


def _after_spring(frames: Frames, _site: Site) -> Line | None:
    row = _only(frames, "fleet_review_trouble", kind="after_spring")
    if row is None:
        return None
    cause = f", {label(row['cause']).lower()}" if row["cause"] else ""
    text = f"{count(row['calls'], 'unit')} that failed this season after our own spring visit: what did we miss?"
    newest = f"Newest, on {day(row['visit_date'])}{cause}"
    return Line("Look into", text, row, newest, ("forecast_record",))


def _outcome(frames: Frames, _site: Site) -> Line | None:
    row = _only(frames, "fleet_review_outcome")
    if row is None or not row["flagged"]:
        return None
    others = f"; of {number(row['others'])} others {number(row['others_failed'])}" if row["others"] else ""
    share = chance(row["flagged_failed"] / row["flagged"]) if row["flagged_failed"] else "none"
    text = (
        f"how the forecast for {row['season']} turned out: of {count(row['flagged'], 'flagged unit')} "
        f"{number(row['flagged_failed'])} failed ({share}){others}; {number(row['failures'])} calls came, "
        f"{number(row['expected_failures'])} were expected."
    )
    return Line("Read", text, None, "", ("forecast_record",))


def _unseen(frames: Frames, site: Site) -> Line | None:
    row = next(frames["fleet_review_unseen"].iter_rows(named=True), None)
    if row is None:
        return None
    text = f"on {count(site.units_unseen, 'unit')} that nobody has seen for 18 months."
    return Line("Call", text, row, f"Longest ago, {day(row['last_visit_on'])}", ("find_unit",))


ORDER: Mapping[Phase, Sequence[Callable[[Frames, Site], Line | None]]] = {
    "before": (_spring, _order, _test, _register, _finish, _file, _renew_soon),
    "in": (_still_open, _back, _load, _after_spring, _finish, _file, _renew_soon),
    "after": (_outcome, _chase, _file, _renew, _unseen, _test, _register, _finish),
}
