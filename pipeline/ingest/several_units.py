"""Tickets with columns for several units (``Unit 1 SH``, ``Unit 2 SH``): a row per unit in place of one per ticket."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import polars as pl

from pipeline.ingest.headers import normalised
from pipeline.ingest.mapping_file import Entry
from pipeline.ingest.match import CONFIDENT, candidates
from pipeline.ingest.read import RawTable
from pipeline.ingest.unit_fields import is_of_unit

NEXT_UNIT = 10**12
"""Added to the line of a record for each further unit on it, so that its rows have lines of their own."""

PLACES = (
    ("upstairs", "downstairs"),
    ("up", "down"),
    ("upper", "lower"),
    ("front", "back"),
    ("front", "rear"),
    ("left", "right"),
    ("north", "south"),
    ("east", "west"),
    ("oben", "unten"),
    ("arriba", "abajo"),
)
"""Words that tell two units at one address apart."""

IDENTITY = ("unit_id", "serial", "unit_location", "model", "make", "indoor_model", "indoor_serial")
LOCATION = "unit_location"
TOTAL = "invoice_total"
"""A ticket's total stays with the first of its units, so that it counts once."""

_WORDED = re.compile(
    r"(?i)(?<![a-z])(units?|systems?|sys|a/?c|acs?|equip(?:ment)?|eq|condenser|cond|cu|odu|hp|outdoor unit|anlage|"
    r"gerät|geraet|equipo|unidad|sistema|u)[\s._\-]*(?:no\.?|nr\.?|#)?[\s._\-]*([1-9])(?![0-9])"
)
_ORDINAL = re.compile(r"(?i)(?<![a-z])(1st|2nd|3rd|first|second|third)[\s._\-]*(unit|system|sys|ac|condenser)(?![a-z])")
_ORDINALS = {"1st": 1, "first": 1, "2nd": 2, "second": 2, "3rd": 3, "third": 3}
_LEADING = re.compile(r"^\s*#?\s*([1-9])\s*[\s._\-:)]+\s*(?=[a-zA-Z])(.+)$")
_TRAILING = re.compile(r"^(.*[^\s\d._\-#(\[])[\s._\-]*[#(\[]?\s*([1-9])\s*[)\]]?\s*(\([^()\d]*\)|\[[^\[\]\d]*\])?\s*$")
_ZERO = r"^[-+]?0*[.,]?0*$"


@dataclass(frozen=True)
class SeveralUnits:
    """A file read as a row per unit.

    Attributes
    ----------
    raw
        A row for each unit on each record; the header as the file has it for its first unit, without the unit's number.
    typed
        For each unit, the header of ``raw`` to the one the file has.
    """

    raw: RawTable
    typed: tuple[Mapping[str, str], ...]

    def entry_seen(self, entry: Entry | None) -> Entry | None:
        """Return the mapping entry in the headers of ``raw``."""
        if entry is None:
            return None
        seen = {normalised(typed): header for one in reversed(self.typed) for header, typed in one.items()}
        columns = {
            name: replace(column, header=seen.get(normalised(column.header), column.header))
            for name, column in entry.columns.items()
        }
        return replace(entry, columns=columns, header=())

    def entry_typed(self, entry: Entry, header: tuple[str, ...]) -> Entry:
        """Return an entry in the headers of ``raw`` as one in the file's own."""
        columns = {
            name: replace(column, header=self.typed[0].get(column.header, column.header))
            for name, column in entry.columns.items()
            if column.header != LOCATION or LOCATION in header
        }
        return replace(entry, columns=columns, header=header)


@dataclass(frozen=True)
class _Column:
    index: int
    unit: int
    stem: str


def split_units(raw: RawTable) -> SeveralUnits | None:
    """Return the file with a row per unit, None where its columns do not number units.

    Notes
    -----
    A header numbers a unit where it says so (``Unit 2 SH``, ``sys2_sc``, ``Fan uF (AC 1)``), or where two or more
    readings come with the same numbers or places (``SH 1``, ``SH 2``; ``Up SH``, ``Down SH``). A record has a row for
    each unit of which something but zeros is written, and for the first where none is. Where no column identifies the
    units, the number or place is taken as the location on site.
    """
    columns, names = _numbered(raw.header)
    if columns is None:
        return None
    stems = list(dict.fromkeys(column.stem for column in columns))
    fields = {stem: _field(stem) for stem in stems}
    numbered = {column.index for column in columns}
    shared = [index for index in range(len(raw.header)) if index not in numbered]
    in_place = {(column.stem, column.unit): column.index for column in columns}
    units = sorted({column.unit for column in columns})
    doubled = {
        next((i for i in shared if _field(raw.header[i]) == fields[stem]), -1): stem for stem in stems if fields[stem]
    }
    doubled.pop(-1, None)
    shared = [index for index in shared if index not in doubled]
    identified = [stem for stem in stems if fields[stem] in IDENTITY]
    cells = raw.cells.with_columns(_present(in_place, stems, identified, unit).alias(f"_unit{unit}") for unit in units)
    none = ~pl.any_horizontal(f"_unit{unit}" for unit in units)
    rows = []
    for n, unit in enumerate(units):
        wanted = pl.col(f"_unit{unit}") | none if n == 0 else pl.col(f"_unit{unit}")
        earlier = pl.any_horizontal(pl.lit(False), *(f"_unit{other}" for other in units[:n]))
        own = [
            pl.when(~earlier).then(f"c{index}") if _field(raw.header[index]) == TOTAL else pl.col(f"c{index}")
            for index in shared
        ]
        of_ticket = {stem: [i for i, doubling in doubled.items() if doubling == stem] for stem in stems}
        own += [_cell(stem, unit, in_place, fields[stem], of_ticket[stem]) for stem in stems]
        own += [] if identified else [pl.lit(names[unit])]
        rows.append(
            cells.filter(wanted).select(
                *(cell.alias(f"c{place}") for place, cell in enumerate(own)),
                source_line=pl.col("source_line") + n * NEXT_UNIT,
                _order=pl.col("source_line"),
            )
        )
    header = (*(raw.header[index] for index in shared), *stems, *([] if identified else [LOCATION]))
    stacked = pl.concat(rows).sort("_order", "source_line", maintain_order=True).drop("_order")
    typed = tuple(
        {stem: raw.header[in_place[stem, unit]] for stem in stems if (stem, unit) in in_place} for unit in units
    )
    order = [*shared, *(in_place.get((stem, units[0]), -1) for stem in stems)]
    return SeveralUnits(replace(raw, header=header, cells=stacked, skipped=_skipped(raw, order)), typed)


def true_line(line: pl.Expr) -> pl.Expr:
    """Return the file's own line of a row of ``SeveralUnits.raw``."""
    return line % NEXT_UNIT


def as_in_file(findings: pl.DataFrame, several: SeveralUnits) -> pl.DataFrame:
    """Return findings on rows of ``several.raw`` with the lines and headers of the file itself."""
    heads = pl.DataFrame(
        [(n, seen, own) for n, typed in enumerate(several.typed) for seen, own in typed.items()],
        schema={"_unit": pl.Int64, "header": pl.String, "_own": pl.String},
        orient="row",
    )
    placed = findings.with_row_index("_n").with_columns(_unit=pl.col("source_line") // NEXT_UNIT)
    placed = placed.join(heads, on=["_unit", "header"], how="left", maintain_order="left")
    told = [placed.filter(pl.col("_own").is_null())]
    for (seen, own), some in placed.filter(pl.col("_own").is_not_null()).group_by("header", "_own"):
        message = pl.col("message").str.replace(f'"{seen}"', f'"{own}"', literal=True)
        told.append(some.with_columns(message=message, header=pl.lit(own, pl.String)))
    far = pl.col("message").str.contains(r"\b\d{13}\b")
    near = pl.col("message").str.replace_all(r"\b[1-9]0{0,11}([1-9]\d{0,11})\b", "$1")
    return (
        pl.concat(told)
        .sort("_n")
        .with_columns(
            message=pl.when(far).then(near).otherwise("message"), source_line=true_line(pl.col("source_line"))
        )
        .select(findings.columns)
    )


def _numbered(header: Sequence[str]) -> tuple[list[_Column] | None, dict[int, str]]:
    """Return the columns that number a unit with their stem, and each unit's name; None where there are none."""
    worded = [_Column(i, *hit) for i, text in enumerate(header) if (hit := _worded(text)) is not None]
    known = {c.index for c in worded}
    plain = [_Column(i, *hit) for i, text in enumerate(header) if (hit := _plain_number(text)) is not None]
    plain = [c for c in plain if (field := _field(c.stem)) is not None and is_of_unit(field) and c.index not in known]
    plain = [c for c in plain if len({o.unit for o in plain if o.stem == c.stem}) > 1]
    if len({c.unit for c in worded}) > 1 and _says_units(worded, 1):
        return _closed([*worded, *plain]), {c.unit: str(c.unit) for c in worded}
    if _says_units(plain, 2):
        return _closed(plain), {c.unit: str(c.unit) for c in plain}
    for pair in PLACES:
        placed = [_Column(i, *hit) for i, text in enumerate(header) if (hit := _placed(text, pair)) is not None]
        placed = [c for c in placed if (field := _field(c.stem)) is not None and is_of_unit(field)]
        placed = [c for c in placed if len({o.unit for o in placed if o.stem == c.stem}) > 1]
        if _says_units(placed, 2):
            return _closed(placed), {1: pair[0], 2: pair[1]}
    return None, {}


def _closed(columns: Sequence[_Column]) -> list[_Column]:
    """Return the columns without a second one of the same unit and stem."""
    return list({(c.stem, c.unit): c for c in reversed(columns)}.values())[::-1]


def _says_units(columns: Sequence[_Column], least: int) -> bool:
    """Return whether at least so many things are told of unit 1 and of unit 2, one of them a unit's."""
    both = {c.stem for c in columns if c.unit == 1} & {c.stem for c in columns if c.unit == 2}
    of_unit = [stem for stem in both if (field := _field(stem)) is not None and is_of_unit(field)]
    return len(of_unit) >= least


def _worded(text: str) -> tuple[int, str] | None:
    hit = _WORDED.search(text)
    unit = int(hit[2]) if hit else 0
    if hit is None:
        hit = _ORDINAL.search(text)
        if hit is None:
            return None
        unit = _ORDINALS[hit[1].casefold()]
    rest = (text[: hit.start()] + " " + text[hit.end() :]).strip()
    rest = re.sub(r"[(\[]\s*[)\]]", " ", rest).strip(" _-–:.,/|")
    rest = re.sub(r"\s{2,}", " ", re.sub(r"\s*[-–:]\s*$|^\s*[-–:]\s*", "", rest))
    return unit, _best(("Unit " + rest).strip(), rest)


def _best(with_unit: str, without: str) -> str:
    """Return which of the two spellings says more; both columns of a pair get the same."""
    one, two = _confidence(with_unit), _confidence(without)
    return without if without and two >= one and two > 0 else with_unit


def _plain_number(text: str) -> tuple[int, str] | None:
    hit = _LEADING.match(text)
    if hit:
        return int(hit[1]), hit[2].strip()
    hit = _TRAILING.match(text)
    return (int(hit[2]), (hit[1] + " " + (hit[3] or "")).strip()) if hit else None


def _placed(text: str, pair: tuple[str, str]) -> tuple[int, str] | None:
    for unit, word in enumerate(pair, 1):
        plain = text.replace("_", " ")
        hit = re.search(rf"(?i)(?<![a-z]){word}(?![a-z])", plain)
        if hit:
            rest = re.sub(r"[(\[]\s*[)\]]", " ", f"{plain[: hit.start()]} {plain[hit.end() :]}")
            rest = re.sub(r"(?i)\b(unit|system)\b", " ", rest)
            return unit, re.sub(r"\s{2,}", " ", rest).strip(" -–:.,/|")
    return None


def _confidence(header: str) -> float:
    found = [candidates(header, table) for table in ("visits", "units")]
    return max((one[0].confidence for one in found if one), default=0.0)


def _field(header: str) -> str | None:
    """Return the field that a header surely means in a file of visits, else of units."""
    for table in ("visits", "units"):
        found = candidates(header, table)
        if found and found[0].confidence >= CONFIDENT:
            return found[0].field
    return None


def _present(
    in_place: Mapping[tuple[str, int], int], stems: Sequence[str], identified: Sequence[str], unit: int
) -> pl.Expr:
    """Return whether a record says something of a unit: an identity, or anything but zeros."""
    ids = [pl.col(f"c{in_place[s, unit]}") for s in identified if (s, unit) in in_place]
    rest = [pl.col(f"c{in_place[s, unit]}") for s in stems if (s, unit) in in_place and s not in identified]
    said = [cell.fill_null("").str.strip_chars() != "" for cell in ids]
    said += [~cell.fill_null("").str.strip_chars().str.contains(_ZERO) for cell in rest]
    return pl.any_horizontal(pl.lit(False), *said)


def _cell(
    stem: str, unit: int, in_place: Mapping[tuple[str, int], int], field: str | None, shared: Sequence[int]
) -> pl.Expr:
    """Return a unit's cell; a column of the same field for the whole ticket fills its blank, and notes are joined."""
    own = pl.col(f"c{in_place[stem, unit]}") if (stem, unit) in in_place else pl.lit("", pl.String)
    if not shared:
        return own
    ticket = pl.col(f"c{shared[0]}")
    blank = own.fill_null("").str.strip_chars() == ""
    if field == "notes":
        both = ~blank & (ticket.fill_null("").str.strip_chars() != "")
        return pl.when(both).then(pl.concat_str(own, pl.lit("\n"), ticket)).when(blank).then(ticket).otherwise(own)
    return pl.when(blank).then(ticket).otherwise(own)


def _skipped(raw: RawTable, order: Sequence[int]) -> pl.DataFrame:
    """Return the skipped records with a line of units in the order of the new columns."""
    if raw.skipped.filter(pl.col("reason") == "units").is_empty():
        return raw.skipped

    def moved(text: str) -> str:
        cells = next(csv.reader([text], delimiter=raw.delimiter, quotechar=raw.quote or '"'), [])
        out = io.StringIO()
        csv.writer(out, delimiter=raw.delimiter, lineterminator="").writerow(
            [cells[i] if 0 <= i < len(cells) else "" for i in order]
        )
        return out.getvalue()

    rows = raw.skipped.select("reason", "raw").iter_rows()
    texts = [moved(text) if reason == "units" else text for reason, text in rows]
    return raw.skipped.with_columns(pl.Series("raw", texts, dtype=pl.String))
