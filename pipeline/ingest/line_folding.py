"""Invoice lines to visits and parts: the rows of a ticket become one visit, lines that name a part become parts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import polars as pl

from pipeline.fields import Field, registry
from pipeline.findings import empty_findings
from pipeline.ingest.columns import Cells, Column, number_column
from pipeline.ingest.conventions import Conventions, NumberTexts, settle_decimal
from pipeline.ingest.item_words import LABOR, SUM, Meaning, cause_of_part, cause_rank, meaning_of, weight_unit
from pipeline.ingest.line_items import LineColumns
from pipeline.ingest.parse import Parsed
from pipeline.ingest.read import RawTable
from pipeline.ingest.words import word_for

SECTIONS = ("herm", "fan", "blower")
JOINED = {"notes": "\n", "technician": ", ", "access_notes": "\n"}
"""Text fields in which the rows of one visit may differ: what they say is joined. Observations are united."""

REPAIRS = ("repair", "no_cooling")
"""Kinds of visit with a component at fault."""

BETWEEN = " , "
"""What stands between the cells of a line when they are read as one text."""

SHOWN = 3
_DERIVED_ID = r"^(visit-[0-9a-f]+)-\d+$"


@dataclass(frozen=True)
class Folded:
    """An export of invoice lines taken apart.

    Attributes
    ----------
    visits
        One row per visit at the line of its first record; rows that contradict each other stay as they were.
    parts
        One row per line that names a part, at its own line.
    records
        ``source_line`` of every record and ``visit_line``, the line at which its visit stands.
    """

    visits: Parsed
    parts: Parsed
    records: pl.DataFrame


def fold_lines(
    raw: RawTable,
    parsed: Parsed,
    lines: LineColumns,
    *,
    ticket_told: bool,
    siblings: Sequence[Conventions] = (),
    came_back: bool = False,
) -> Folded:
    """Return visits and parts of an export of invoice lines.

    Parameters
    ----------
    raw
        The file as typed.
    parsed
        Its records parsed as visits, without the line columns.
    lines
        Its line columns.
    ticket_told
        Whether a column tells the visit; otherwise all records of a day and place are one visit.
    siblings
        What files with the same header line settled, for the decimal sign.
    came_back
        Whether these are records from a reject list: not all of their tickets', so that sums of them say nothing.
    """
    frame = parsed.frame
    if not ticket_told:
        frame = frame.with_columns(pl.col("visit_id").str.replace(_DERIVED_ID, "$1"))
    typed, findings, decimal = _line_values(raw, lines, parsed.conventions, siblings)
    typed = _with_meaning(typed, lines)
    own_unit = frame.select("source_line", pl.col("unit_id").alias("_own_unit"))
    frame = frame.with_columns(pl.col("unit_id").fill_null(pl.col("unit_id").drop_nulls().first().over("visit_id")))
    key = ["visit_id", "unit_id"]
    placed = typed.join(
        frame.select("source_line", *key, _type(frame)), on="source_line", how="left", maintain_order="left"
    ).join(own_unit, on="source_line", how="left", maintain_order="left")
    placed = _taken(placed, key)
    visits, records, added = _folded(frame, parsed, placed, key, came_back)
    parts = _parts(placed, lines, raw.name)
    conventions = replace(parsed.conventions, decimal=parsed.conventions.decimal or decimal)
    columns = tuple(dict.fromkeys([*parsed.columns, *added]))
    notes = _notes(raw, lines, placed, parts.height)
    return Folded(
        visits=replace(
            parsed,
            frame=visits.select(*columns, "source_file", "source_line", "rejected_fields"),
            columns=columns,
            notes=(*parsed.notes, *notes),
            conventions=conventions,
        ),
        parts=Parsed(
            table="parts",
            frame=parts,
            columns=tuple(n for n in parts.columns if n not in ("source_file", "source_line", "rejected_fields")),
            headers={n: raw.header[lines.columns[role][0]] for n, role in _HEADS.items() if role in lines.columns},
            findings=findings,
            notes=(),
            zero_filled=frozenset(),
            said_open=parsed.said_open.clear(),
            conventions=conventions,
        ),
        records=records,
    )


_HEADS = {"part": "item", "quantity": "quantity", "price": "price", "cost": "cost", "part_number": "part_number"}


def _line_values(
    raw: RawTable, lines: LineColumns, settled: Conventions, siblings: Sequence[Conventions]
) -> tuple[pl.DataFrame, pl.DataFrame, str | None]:
    """Return text, numbers and unit of every line, the cells that are no number, and the decimal sign."""
    fields = registry()["parts"].fields
    wanted = {"quantity": "quantity", "price": "price", "total": "price", "cost": "cost"}
    texts = {role: raw.cells[f"c{lines.columns[role][0]}"] for role in wanted if role in lines.columns}
    free = {role: replace(fields[wanted[role]], low=None) for role in texts}  # a return counts below zero
    told = [NumberTexts(free[role], text, None) for role, text in texts.items()]
    decimal = settled.decimal or (settle_decimal(raw.name, told, siblings) if told else None)
    numbers = {
        role: number_column(_cells(raw, lines, role, free[role], text), decimal=decimal or ".", altitude_ft=0.0)
        for role, text in texts.items()
    }
    frame = raw.cells.select(
        "source_line",
        text=pl.concat_str(
            [
                pl.col(f"c{index}").str.strip_chars().replace("", None)
                for role in ("item", "text")
                for index in lines.columns.get(role, ())
            ],
            separator=BETWEEN,
            ignore_nulls=True,
        ),
        part_number=_text(lines, "part_number"),
        uom=_text(lines, "uom"),
    ).with_columns(
        numbers[role].values.alias(role) if role in numbers else pl.lit(None, pl.Float64).alias(role) for role in wanted
    )
    found = [column.findings for column in numbers.values() if column.findings.height]
    refused = _refused(numbers, raw.cells.height)
    return frame.with_columns(refused), pl.concat(found) if found else empty_findings(), decimal


def _cells(raw: RawTable, lines: LineColumns, role: str, field: object, texts: pl.Series) -> Cells:
    header = raw.header[lines.columns[role][0]]
    return Cells(raw.name, raw.cells["source_line"], texts, field, header, None, {}, required=False)  # type: ignore[arg-type]


def _text(lines: LineColumns, role: str) -> pl.Expr:
    if role not in lines.columns:
        return pl.lit(None, dtype=pl.String)
    return pl.col(f"c{lines.columns[role][0]}").str.strip_chars().replace("", None)


def _refused(numbers: Mapping[str, Column], height: int) -> pl.Series:
    masks = {role: c.rejected for role, c in numbers.items() if c.rejected is not None and role in _HEADS}
    if not masks:
        return pl.Series("rejected_fields", [[]] * height, dtype=pl.List(pl.String))
    named = pl.DataFrame(masks)
    return named.select(
        pl.concat_list(pl.when(role).then(pl.lit(role)) for role in masks).list.drop_nulls().alias("rejected_fields")
    ).to_series()


def _with_meaning(typed: pl.DataFrame, lines: LineColumns) -> pl.DataFrame:
    """Add what each text says: part, cause, kind, ratings, volts, and the ounces of refrigerant of the line."""
    texts = typed["text"].unique().drop_nulls().to_list()
    said = {text: meaning_of(text, lines.own) for text in texts}
    fields = registry()["visits"].fields
    kind, weighed_in = fields["visit_type"], fields["refrigerant_added_oz"]
    units = {text: weight_unit(text) for text in typed["uom"].unique().drop_nulls().to_list()}
    words = pl.DataFrame([_row(text, one, kind) for text, one in said.items()], schema=_MEANING)
    of_uom = {"uom": pl.String, "uom_oz": pl.Float64}
    uoms = pl.DataFrame({"uom": list(units), "uom_oz": list(units.values())}, schema=of_uom)
    joined = typed.join(words, on="text", how="left", maintain_order="left").join(
        uoms, on="uom", how="left", maintain_order="left"
    )
    each = pl.when(~pl.col("in_container").fill_null(False)).then(pl.coalesce("ounces_each", "uom_oz"))
    ounces = (each * pl.col("quantity").fill_null(1.0)).round(2)
    return joined.with_columns(
        ounces=pl.when((pl.col("part") == "refrigerant") & ounces.is_between(*weighed_in.bounds)).then(ounces),
        amount=pl.coalesce("total", pl.col("price") * pl.col("quantity").fill_null(1.0)).round(2),
    )


_MEANING = {
    "text": pl.String,
    "job": pl.String,
    "part": pl.String,
    "cause": pl.String,
    "kind": pl.String,
    "labor_part": pl.String,
    "cap_herm_uf": pl.Float64,
    "cap_fan_uf": pl.Float64,
    "cap_blower_uf": pl.Float64,
    "cap_volts": pl.Float64,
    "ounces_each": pl.Float64,
    "in_container": pl.Boolean,
}


def _row(text: str, said: Meaning, visit_type: Field) -> dict[str, object]:
    return {
        "text": text,
        "job": None if said.part or said.cause else _job(text, visit_type),
        "part": said.part,
        "cause": said.cause,
        "kind": said.kind,
        "labor_part": said.labor_part,
        **{f"cap_{section}_uf": said.uf.get(section) for section in SECTIONS},
        "cap_volts": said.volts,
        "ounces_each": said.ounces_each,
        "in_container": said.in_container,
    }


def _job(text: str, visit_type: Field) -> str | None:
    """Return the kind of visit that a cell of the line tells; its other cell may be a code of the shop's own."""
    told = [word for cell in text.split(BETWEEN) if (word := word_for(cell, visit_type))]
    return "no_cooling" if "no_cooling" in told else next(iter(told), None)


def _type(frame: pl.DataFrame) -> pl.Expr:
    return pl.col("visit_type") if "visit_type" in frame.columns else pl.lit(None, dtype=pl.String).alias("visit_type")


def _taken(placed: pl.DataFrame, key: Sequence[str]) -> pl.DataFrame:
    """Settle which lines are parts: nothing that was given back, and of labor lines what no other line names."""
    kept = ~(pl.col("quantity") <= 0).fill_null(False)
    placed = placed.with_columns(part=pl.when(kept).then("part"))
    listed = pl.col("part").drop_nulls().unique().implode().over(key)
    alone = (pl.col("kind") == LABOR) & pl.col("labor_part").is_not_null() & ~listed.list.contains(pl.col("labor_part"))
    first = pl.int_range(pl.len()).over([*key, "labor_part"]) == 0
    return placed.with_columns(part=pl.when(kept & alone & first).then("labor_part").otherwise("part"))


def _folded(
    frame: pl.DataFrame, parsed: Parsed, placed: pl.DataFrame, key: Sequence[str], came_back: bool
) -> tuple[pl.DataFrame, pl.DataFrame, list[str]]:
    """Return the visits, each record's visit line, and the fields that the lines tell."""
    required = registry()["visits"].required
    said = [name for name in parsed.columns if name not in key]
    strict = [name for name in said if name not in (*JOINED, "observations")]
    usable = pl.all_horizontal(pl.col(name).is_not_null() for name in required)
    marked = frame.with_columns(
        _one=usable
        & pl.all_horizontal(
            pl.lit(True), *(pl.col(name).drop_nulls().n_unique().over([*key, usable]) <= 1 for name in strict)
        )
    )
    agreeing, rest = marked.filter("_one"), marked.filter(~pl.col("_one")).drop("_one")
    merged = [_merged(name) for name in said]
    visits = agreeing.group_by(key, maintain_order=True).agg(
        *merged,
        pl.col("source_file").first(),
        pl.col("source_line").min(),
        pl.col("rejected_fields").explode().drop_nulls().unique().alias("rejected_fields"),
    )
    records = pl.concat(
        [
            agreeing.select("source_line", visit_line=pl.col("source_line").min().over(key)),
            rest.select("source_line", visit_line="source_line"),
        ]
    ).sort("source_line")
    visits = pl.concat([visits.select(frame.columns), rest.select(frame.columns)]).sort("source_line")
    visits, added = _told_by_lines(visits, placed, key, came_back)
    left = pl.concat_list(
        pl.when(pl.col("rejected_fields").list.contains(name) & pl.col(name).is_null()).then(pl.lit(name))
        for name in [*said, *added]
    ).list.drop_nulls()
    return visits.with_columns(rejected_fields=left), records, added


def _merged(name: str) -> pl.Expr:
    values = pl.col(name).drop_nulls()
    if name in JOINED:
        joined = values.unique(maintain_order=True).str.join(JOINED[name])
        return pl.when(values.len() > 0).then(joined).alias(name)
    if name == "observations":
        joined = values.str.split("; ").explode().unique(maintain_order=True).str.join("; ")
        return pl.when(values.len() > 0).then(joined).alias(name)
    return values.first().alias(name)


def _told_by_lines(
    visits: pl.DataFrame, placed: pl.DataFrame, key: Sequence[str], came_back: bool
) -> tuple[pl.DataFrame, list[str]]:
    """Add kind of visit, sum of the lines, refrigerant and cause that lines tell, where the file has no such column."""
    at_fault = pl.coalesce("part", "cause")
    causes = placed.select(pl.coalesce("part", "cause").alias("word")).to_series().unique().drop_nulls().to_list()
    ranks = pl.DataFrame(
        {"word": causes, "_rank": [cause_rank(word) for word in causes], "_cause": [cause_of_part(w) for w in causes]},
        schema={"word": pl.String, "_rank": pl.Int64, "_cause": pl.String},
    )
    known = registry()["visits"].fields["cause"].allowed
    told = (
        placed.with_columns(word=at_fault)
        .join(ranks, on="word", how="left", maintain_order="left")
        .group_by(key, maintain_order=True)
        .agg(
            visit_type=pl.col("job").drop_nulls().first(),
            invoice_total=pl.when(pl.col("amount").count() > 0).then(
                pl.col("amount").filter(~(pl.col("kind") == SUM).fill_null(False)).sum().round(2)
            ),
            refrigerant_added_oz=pl.when(pl.col("ounces").count() > 0).then(pl.col("ounces").sum()),
            cause=pl.col("_cause")
            .filter(pl.col("_cause").is_in(known))
            .sort_by(pl.col("_rank").filter(pl.col("_cause").is_in(known)))
            .first(),
        )
    )
    own = [name for name in ("visit_type", "invoice_total", "refrigerant_added_oz", "cause") if name not in visits]
    added = [name for name in own if told[name].null_count() < told.height]
    joined = visits.join(told.select(*key, *added), on=key, how="left", maintain_order="left")
    if "cause" in added and "visit_type" in joined.columns:
        repair = pl.col("visit_type").is_in(REPAIRS).fill_null(True)
        joined = joined.with_columns(cause=pl.when(repair).then("cause"))
    if came_back and added:
        left = [pl.when(pl.col(n).is_null() | pl.lit(n == "invoice_total")).then(pl.lit(n)) for n in added]
        joined = joined.with_columns(
            pl.col("rejected_fields").list.set_union(pl.concat_list(left).list.drop_nulls()),
            *(pl.lit(None, pl.Float64).alias(name) for name in added if name == "invoice_total"),
        )
    return joined, added


def _parts(placed: pl.DataFrame, lines: LineColumns, name: str) -> pl.DataFrame:
    """Return the lines that name a part as rows of parts; a price is the whole line's."""
    some = pl.col("quantity").fill_null(1.0)
    priced = "price" in lines.columns or "total" in lines.columns
    refrigerant = pl.col("part") == "refrigerant"
    columns: dict[str, pl.Expr] = {
        "visit_id": pl.col("visit_id"),
        "unit_id": pl.col("_own_unit"),
        "part": pl.col("part"),
        "quantity": pl.when(refrigerant).then(pl.coalesce("ounces", "quantity")).otherwise("quantity"),
        **{f"cap_{s}_uf": pl.when(pl.col("part") == "run_capacitor").then(f"cap_{s}_uf") for s in SECTIONS},
        "cap_volts": pl.when(pl.col("part") == "run_capacitor").then("cap_volts"),
    }
    if priced:
        columns["price"] = pl.col("amount")
    if "cost" in lines.columns:
        columns["cost"] = (pl.col("cost") * some).round(2)
    if "part_number" in lines.columns:
        columns["part_number"] = pl.col("part_number")
    return placed.filter(pl.col("part").is_not_null() & pl.col("visit_id").is_not_null()).select(
        **columns, source_file=pl.lit(name), source_line="source_line", rejected_fields="rejected_fields"
    )


def _notes(raw: RawTable, lines: LineColumns, placed: pl.DataFrame, parts: int) -> list[str]:
    heads = ", ".join(f'"{raw.header[index]}"' for index in sorted(lines.all))
    notes = [f"{heads} tell of invoice lines: the rows of a ticket are one visit, {parts} lines are parts"]
    strange = placed.filter(pl.col("text").is_not_null() & pl.all_horizontal(pl.col("part", "cause", "kind").is_null()))
    if strange.height:
        often = strange.group_by("text").len().sort("len", "text", descending=[True, False])["text"]
        shown = often.head(SHOWN).to_list() if "text" not in lines.columns else []  # a free text may name people
        named = ": " + ", ".join(f'"{text[:40]}"' for text in shown) if shown else ""
        notes.append(
            f"{strange.height} lines name no known part{named}; where one is a part, say which in mapping.toml under "
            "values.item of this file"
        )
    weightless = placed.filter((pl.col("part") == "refrigerant") & pl.col("ounces").is_null()).height
    if weightless:
        notes.append(f"{weightless} lines of refrigerant tell no weight (lb, oz, # or kg) and count as no charge added")
    return notes
