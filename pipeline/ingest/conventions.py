"""What holds for a whole file: the decimal sign, and the order of day and month.

Each is settled by what only one reading permits, else by the fields' ranges, else by an earlier or sibling file
with the same header line; else the file is refused with the line to write into the mapping.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from pipeline.errors import FileRefused, cut
from pipeline.fields import Field
from pipeline.ingest.dates import ORDERS, DateTexts, format_for, three_numbers, votes
from pipeline.ingest.numbers import parse_numbers

STRAY_SHARE = 0.1
"""Cells that only the other reading permits may be this share of all that say something; then they are refused
one by one."""

RANGE_MARGIN = 0.5
"""Ranges decide only where one reading puts this share more of the unclear cells inside than the other."""

POINT_ONLY = (
    r"^[^.,]*\d?\.(?:\d{1,2}|\d{4,})(?:[^\d.,].*)?$|\d,\d{3}\.\d|^\D*0\.\d{3}\D*$|^\D*\.\d+\D*$"
    r"|\d{4,}\.\d{3}\D*$|,\d{3},\d{3}\b"
)
COMMA_ONLY = (
    r"^[^.,]*\d?,(?:\d{1,2}|\d{4,})(?:[^\d.,].*)?$|\d\.\d{3},\d|^\D*0,\d{3}\D*$|^\D*,\d+\D*$"
    r"|\d{4,},\d{3}\D*$|\.\d{3}\.\d{3}\b"
)
"""Numbers that only one decimal sign permits: not three digits behind it, or both signs, or no thousands before it."""

UNCLEAR = r"^\D*[1-9]\d{0,2}[.,]\d{3}(?:\D.*)?$"


@dataclass(frozen=True)
class Conventions:
    """What was settled for one file; ``None`` where nothing in the file asks for it.

    ``order`` is ``mdy``, ``dmy`` or ``ymd``, ``date_format`` the same as a line for the mapping file, ``orders``
    the order of a single column where it differs.
    """

    decimal: str | None = None
    order: str | None = None
    date_format: str | None = None
    orders: Mapping[str, str] | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class NumberTexts:
    """One column of numbers as text, with its field and unit."""

    field: Field
    texts: pl.Series
    unit: str | None


class AmbiguousFile(FileRefused):
    """Neither the file nor a sibling settles how its dates or numbers are to be read."""

    slug = "ambiguous"


def settle_decimal(name: str, columns: Sequence[NumberTexts], siblings: Sequence[Conventions] = ()) -> str | None:
    """Return the decimal sign of a file; None where no cell has a point or comma that matters.

    Raises
    ------
    AmbiguousFile
        If the cells allow both and nothing settles it, or contradict each other.
    """
    has = pl.select(
        pl.lit(column.texts).str.contains(",", literal=True).any().alias(str(n)) for n, column in enumerate(columns)
    )
    commas = [(column, _with(column.texts, ",")) for n, column in enumerate(columns) if has[str(n)][0]]
    if not any(texts.len() for _, texts in commas) and any(_sure_point(column.texts.head(300)) for column in columns):
        return "."
    points = [(column, _with(column.texts, ".")) for column in columns]
    comma = sum(_count(texts, COMMA_ONLY) for _, texts in [*commas, *points])
    point = sum(_count(texts, POINT_ONLY) for _, texts in [*commas, *points])
    if point or comma:
        if min(point, comma) <= STRAY_SHARE * (point + comma):
            return "." if point > comma else ","
        raise _refused(name, f"{point} numbers have a decimal point and {comma} a decimal comma", 'decimal = "."')
    unclear = [(column, texts.filter(texts.str.contains(UNCLEAR))) for column, texts in [*commas, *points]]
    unclear = [(column, texts) for column, texts in unclear if texts.len()]
    if not unclear:
        return None
    total = sum(texts.len() for _, texts in unclear)
    inside = {sign: sum(_plausible(column, texts, sign) for column, texts in unclear) for sign in (".", ",")}
    if abs(inside["."] - inside[","]) >= RANGE_MARGIN * total:
        return "." if inside["."] > inside[","] else ","
    for sibling in siblings:
        if sibling.decimal:
            return sibling.decimal
    column, texts = unclear[0]
    private = column.field.private
    shown = "such numbers" if private else f"{cut(texts[0])!r}"
    raise _refused(
        name,
        f"{shown} may be thousands or a decimal fraction, and no other number of the file tells which",
        'decimal = "."',
    )


def settle_order(
    name: str, columns: Sequence[DateTexts], siblings: Sequence[Conventions] = ()
) -> tuple[str | None, dict[str, str]]:
    """Return the order of day and month of a file, and of single columns that differ; None where no date asks for it.

    Raises
    ------
    AmbiguousFile
        If the dates allow both and nothing settles it, or contradict each other.
    """
    unclear = [column for column in columns if three_numbers(column).height]
    if not unclear:
        return None, {}
    decided = {column.field: order for column in unclear if (order := _by_reading([column]))}
    if decided:
        order = _by_reading(unclear) or max(decided.values(), key=list(decided.values()).count)
        if len(set(decided.values())) == 1:
            return order, {}
        return order, {field: own for field, own in decided.items() if own != order}
    if _contradict(unclear):
        counts = _summed(unclear)
        raise _refused(
            name,
            f"{counts['mdy'][0]} dates can only be month/day and {counts['dmy'][0]} only day/month",
            _format_line("mdy", unclear),
        )
    for settled in (_by_range(unclear), *(sibling.order for sibling in siblings), _by_dots(unclear)):
        if settled:
            return settled, {}
    sample = three_numbers(unclear[0])["text"][0]
    raise _refused(
        name,
        f'column "{cut(unclear[0].header)}": {cut(sample)!r} and all other dates may be month/day or day/month',
        f"{_format_line('mdy', unclear)} (or {_format_line('dmy', unclear)})",
    )


def refuse_contradiction(name: str, columns: Sequence[DateTexts], told: str | None, date_format: str) -> None:
    """Refuse a file whose dates can only be read in another order than the mapping file says.

    Raises
    ------
    AmbiguousFile
        If so: an entry made for an earlier file would silently exchange days and months.
    """
    unclear = [column for column in columns if three_numbers(column).height]
    found = _by_reading(unclear) if unclear and told else None
    if found and found != told:
        raise AmbiguousFile(
            f'{name}: mapping.toml says date_format = "{date_format}", but the dates can only be '
            f"{format_of(found, unclear)}: "
            "correct that line of the entry for this file"
        )


def _format_line(order: str, columns: Sequence[DateTexts]) -> str:
    return f'date_format = "{format_of(order, columns)}"'


def format_of(order: str, columns: Sequence[DateTexts]) -> str:
    """Return the strptime format for the mapping file."""
    samples = [text for column in columns for text in three_numbers(column)["text"].head(50)]
    return format_for(order, samples)


def _summed(columns: Sequence[DateTexts]) -> dict[str, tuple[int, int]]:
    counted = [votes(column) for column in columns]
    return {order: (sum(c[order][0] for c in counted), sum(c[order][1] for c in counted)) for order in ORDERS}


def _by_reading(columns: Sequence[DateTexts]) -> str | None:
    """Return the order that cells permit which no other order can read, strays apart."""
    only = {order: count for order, (count, _) in _summed(columns).items()}
    best = max(only, key=lambda order: only[order])
    total = sum(only.values())
    return best if only[best] and total - only[best] <= STRAY_SHARE * total else None


def _contradict(columns: Sequence[DateTexts]) -> bool:
    return sum(count > 0 for count, _ in _summed(columns).values()) > 1


def _by_range(columns: Sequence[DateTexts]) -> str | None:
    """Return the one order that puts clearly more dates inside the fields' ranges than every other."""
    inside = {order: count for order, (_, count) in _summed(columns).items()}
    total = sum(int(three_numbers(column)["n"].sum()) for column in columns)
    ranked = sorted(inside, key=lambda order: -inside[order])
    return ranked[0] if inside[ranked[0]] - inside[ranked[1]] > STRAY_SHARE * total else None


def _by_dots(columns: Sequence[DateTexts]) -> str | None:
    """Day.month.year is the only order written with dots (common practice, no source)."""
    texts = pl.concat([three_numbers(column)["text"] for column in columns])
    return "dmy" if texts.str.contains(r"^\s*\d{1,2}\.\s?\d{1,2}\.\s?\d{2,4}\b").all() else None


def _with(texts: pl.Series, sign: str) -> pl.Series:
    return texts.filter(texts.str.contains(sign, literal=True))


def _count(texts: pl.Series, pattern: str) -> int:
    return int(texts.str.contains(pattern).sum() or 0)


def _sure_point(texts: pl.Series) -> bool:
    return _count(texts, POINT_ONLY) > 0


def _plausible(column: NumberTexts, texts: pl.Series, sign: str) -> int:
    """Return how many cells lie in the field's range; money has no thousandths."""
    values = parse_numbers(texts, column.field, unit=column.unit, decimal=sign).values
    if column.field.unit == "currency":
        return int((values == values.round(2)).sum())
    return int(values.is_between(*column.field.bounds).sum())


def _refused(name: str, why: str, line: str) -> AmbiguousFile:
    return AmbiguousFile(f"{name}: {why}: write {line} under this file's entry in mapping.toml")
