"""Exports with a row per line of an invoice: which columns speak of the line, and the file without them as visits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache

import polars as pl

from pipeline.ingest.assign import Assigned, assign, choose_table, sampled
from pipeline.ingest.derive import VISIT_FROM, required_without_help
from pipeline.ingest.evidence import Column
from pipeline.ingest.headers import fold, normalised
from pipeline.ingest.item_words import item_vocabulary
from pipeline.ingest.mapping_file import Entry
from pipeline.ingest.read import RawTable
from pipeline.ingest.unit_fields import is_of_unit
from pipeline.ingest.words import own_words

ROLES = ("item", "text", "quantity", "price", "total", "cost", "part_number", "uom", "kind", "number")
MONEY = ("price", "total", "cost")
LINE_FIELDS = {
    "item": "item",
    "quantity": "quantity",
    "price": "price",
    "cost": "cost",
    "part_number": "part_number",
    "unit": "uom",
}
"""Fields of other tables that the mapping file may name in a file of visits: columns of its lines, by their role."""

ELSEWHERE = frozenset(
    ("decision", "decided_on", "claim_status", "claim_amount", "claimed_on", "serial_in", "serial_out", "measure")
)
"""A file with one of these is a list of parts, advice or readings, whatever else it has."""

SOME_TICKETS, SOME_SHARE = 2, 0.05
"""Tickets whose rows must differ in a plain text before it counts as a line's text: so many, and such a share."""


@dataclass(frozen=True)
class LineColumns:
    """What the columns of an export of invoice lines are.

    Attributes
    ----------
    columns
        Role to the places of the columns that speak of the line.
    ticket, unit
        Places of the columns that tell tickets, and the units on one, apart.
    of_unit
        Names of the cells columns that are a unit's, not the ticket's.
    own
        The shop's own words for items, folded, with the part they stand for.
    """

    columns: Mapping[str, tuple[int, ...]]
    ticket: tuple[int, ...]
    unit: tuple[int, ...]
    of_unit: frozenset[str]
    own: Mapping[str, str] = field(default_factory=dict)

    @property
    def all(self) -> frozenset[int]:
        """Every such column."""
        return frozenset(index for places in self.columns.values() for index in places)


def find_lines(raw: RawTable, entry: Entry | None) -> LineColumns | None:
    """Return the line columns of an export with a row per invoice line, None where the file is no such export.

    Parameters
    ----------
    raw
        The file as text.
    entry
        What the mapping file says of it; columns named there as item, quantity, price, cost, part_number or unit count.

    Notes
    -----
    A column speaks of the line where its header is a line's word and its cells differ within a ticket, or where the
    file names an item with a quantity or price. The rest of the file must be visits: a date, and a ticket or place.
    """
    if entry is not None and entry.table not in (None, "visits"):
        return None
    columns = sampled(raw)
    told = _told(columns, entry)
    roles = {c.index: role for c in columns if (role := told.get(c.index) or role_of(c.header)) is not None}
    if not any(role in ("item", "text") for role in roles.values()):
        return None
    chosen = choose_table(raw.name, columns, entry)
    if ELSEWHERE & set(chosen.uses):
        return None
    rest = assign(raw.name, _without(columns, roles), "visits", entry)
    if "visit_date" not in rest.uses or not set(VISIT_FROM) & set(rest.uses):
        return None
    if required_without_help("visits", frozenset(rest.uses)) or (chosen.table != "visits" and not _like_visits(rest)):
        return None
    ticket = _ticket_columns(rest)
    seen = replace(raw, cells=_from_above(raw.cells, [f"c{c.index}" for c in columns if c.index not in roles]))
    tickets = _key(seen.cells, ticket)
    units = [rest.uses[name].index for name in ("unit_id", "serial", "unit_location") if name in rest.uses]
    differs = _differing(seen, tickets, units, [c.index for c in columns if c.header.strip()])
    found = _chosen(roles, differs, told, tickets)
    if found is None:
        return None
    amount = rest.uses.get("invoice_total")
    several = int(tickets.drop_nulls().value_counts().get_column("count").gt(1).sum())
    some = max(1, min(SOME_TICKETS, several))  # a small export may have one ticket of several lines
    if amount is not None and differs.get(amount.index, 0) >= some and amount.index not in found:
        found[amount.index] = "total"
    places = {role: tuple(i for i, r in found.items() if r == role) for role in ROLES if role in found.values()}
    values = entry.values if entry else {}
    of_unit = frozenset(f"c{use.index}" for use in rest.uses.values() if is_of_unit(use.field))
    own = own_words({**values.get("item", {}), **values.get("part", {})})
    return LineColumns(places, ticket, tuple(units), of_unit, own)


def role_of(header: str) -> str | None:
    """Return what the header of a column says of a line: a role of ``ROLES``, None if nothing."""
    words = frozenset(fold(header).split())
    return next((role for role, phrases in _phrases().items() if words in phrases), None)


@cache
def _phrases() -> Mapping[str, frozenset[frozenset[str]]]:
    return {
        role: frozenset(frozenset(fold(phrase).split()) for phrase in item_vocabulary()["columns"][role].split(";"))
        for role in ROLES
    }


def without_lines(raw: RawTable, lines: LineColumns) -> RawTable:
    """Return the file as visits: without its line columns, and with what a ticket says only once on all its rows.

    A row with nothing but its line's cells belongs to the ticket above it, as invoices print them. A blank is filled
    where the rows of its ticket say one thing in that column: of a unit, the rows of that unit.
    """
    header = tuple("" if index in lines.all else text for index, text in enumerate(raw.header))
    own = [f"c{index}" for index, text in enumerate(header) if text.strip()]
    said = [pl.col(name).str.strip_chars().replace("", None).alias(name) for name in own]
    cells = _from_above(raw.cells.with_columns(said), own)
    ticket = _key(cells, lines.ticket)
    unit = [f"c{index}" for index in lines.unit]
    of_ticket = [name for name in own if name not in lines.of_unit]
    cells = _filled(cells.with_columns(ticket.alias("_ticket")), of_ticket, ["_ticket"])
    cells = _filled(cells, unit, ["_ticket"])
    cells = _filled(cells, sorted(lines.of_unit - set(unit)), ["_ticket", *unit])
    left = [index for index in range(len(raw.header)) if index not in lines.all]
    kept = cells.select(*(pl.col(f"c{index}").alias(f"c{n}") for n, index in enumerate(left)), "source_line")
    return replace(raw, header=tuple(raw.header[index] for index in left), cells=kept)


def _from_above(cells: pl.DataFrame, own: Sequence[str]) -> pl.DataFrame:
    """Return the cells with rows that are blank in all of ``own`` filled there from the last row that is not."""
    if not own:
        return cells
    blank = pl.all_horizontal(pl.col(own).fill_null("").str.strip_chars() == "")
    if not cells.select(blank.any()).item():
        return cells
    return (
        cells.with_columns((~blank).cum_sum().alias("_above"))
        .with_columns(pl.col(own).first().over("_above"))
        .drop("_above")
    )


def _filled(cells: pl.DataFrame, names: Sequence[str], key: Sequence[str]) -> pl.DataFrame:
    """Return the cells with blanks filled by the one value that the rows of a key have; none where the key is blank."""
    if not names:
        return cells
    known = pl.col(key[0]).is_not_null()
    return cells.with_columns(
        pl.when(known & pl.col(name).is_null() & (pl.col(name).drop_nulls().n_unique().over(key) == 1))
        .then(pl.col(name).drop_nulls().first().over(key))
        .otherwise(pl.col(name))
        .alias(name)
        for name in names
    )


def _key(cells: pl.DataFrame, places: Sequence[int]) -> pl.Series:
    """Return the key of each row's ticket as text, null where a part of it is blank."""
    parts = [pl.col(f"c{index}").str.strip_chars().replace("", None) for index in places]
    return cells.select(pl.concat_str(parts, separator="\x1f").alias("ticket")).to_series()


def _told(columns: Sequence[Column], entry: Entry | None) -> dict[int, str]:
    if entry is None:
        return {}
    columns_told = entry.columns
    named = {normalised(columns_told[n].header): role for n, role in LINE_FIELDS.items() if n in columns_told}
    return {c.index: named[key] for c in columns if (key := normalised(c.header)) in named}


def _without(columns: Sequence[Column], roles: Mapping[int, str]) -> list[Column]:
    """Return the columns with those of lines left without a header; money may yet be the ticket's."""
    hidden = {index for index, role in roles.items() if role not in ("text", "total", "kind", "number")}
    return [replace(c, header="") if c.index in hidden else c for c in columns]


def _like_visits(rest: Assigned) -> bool:
    """Return whether the file says more of visits than a list of parts does: who, where, why or what was read."""
    return len(set(rest.uses) - {"visit_id", "unit_id", "visit_date", "site_id", "serial", "model"}) >= 2


def _ticket_columns(rest: Assigned) -> tuple[int, ...]:
    """Return the columns that tell tickets apart: the number, else date and place."""
    if "visit_id" in rest.uses:
        return (rest.uses["visit_id"].index,)
    place = next(name for name in VISIT_FROM if name in rest.uses)
    return (rest.uses["visit_date"].index, rest.uses[place].index)


def _differing(raw: RawTable, tickets: pl.Series, units: Sequence[int], places: Sequence[int]) -> dict[int, int]:
    """Return for each column in how many tickets, and units on one, its cells differ."""
    said = [pl.col(f"c{index}").str.strip_chars().replace("", None) for index in places]
    counted = (
        raw.cells.with_columns(tickets.alias("_ticket"))
        .filter(pl.col("_ticket").is_not_null())
        .group_by("_ticket", *(pl.col(f"c{index}").alias(f"_unit{index}") for index in units))
        .agg((one.drop_nulls().n_unique() > 1).alias(str(index)) for index, one in zip(places, said, strict=True))
    )
    sums = counted.select(pl.col(str(index)).sum() for index in places)
    return {index: int(sums.get_column(str(index)).item() or 0) for index in places}


def _chosen(
    roles: Mapping[int, str], differs: Mapping[int, int], told: Mapping[int, str], tickets: pl.Series
) -> dict[int, str] | None:
    """Return the columns that speak of lines with their role, None where the file has no lines."""
    several = int(tickets.drop_nulls().value_counts().get_column("count").gt(1).sum())
    enough = max(SOME_TICKETS, SOME_SHARE * several)
    counts = {role: [i for i, r in roles.items() if r == role] for role in ROLES}
    sold = [*counts["quantity"], *counts["price"], *counts["total"], *counts["cost"], *counts["part_number"]]
    items = [i for i in counts["item"] if i in told or differs[i] >= 1 or counts["quantity"] or counts["price"]]
    texts = [i for i in counts["text"] if differs[i] >= enough and sold]
    if not items and not texts:
        return None
    if not sold and not told and max(differs[i] for i in items) < enough:
        return None
    found = dict.fromkeys(items, "item") | dict.fromkeys(texts, "text")
    for role in ("quantity", "cost", "part_number", "uom"):
        found |= dict.fromkeys(counts[role], role)
    for role in ("kind", "number", "total"):
        found |= {i: role for i in counts[role] if i in told or differs[i]}
    constant = several >= SOME_TICKETS  # a price that is one for all lines of every ticket is the ticket's
    found |= {i: "price" for i in counts["price"] if i in told or differs[i] or not constant}
    return dict(sorted(found.items()))
