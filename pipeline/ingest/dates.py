"""Text cells to dates: what each distinct cell may mean, and the values once the file's order of day is settled.

The written date counts: a time of day is cut off, an offset from universal time is ignored.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from pipeline.ingest.words import blanks

ORDERS = {"mdy": "%m/%d/%Y", "dmy": "%d/%m/%Y", "ymd": "%Y-%m-%d"}
"""Orders that three numbers may stand in; the format is how one is said in the mapping file."""

PIVOT = 69
"""Two-digit years from 69 on are 19xx, below 20xx (POSIX strptime %y)."""

SERIAL_LOW, SERIAL_HIGH = 14611, 60000
"""Spreadsheet day numbers taken for dates: 1940-01-01 to 2064-04-08, counted from 1899-12-30."""

MONTHS = {
    1: "jan january januar janner jaenner enero ene",
    2: "feb february februar febrero feber",
    3: "mar march marz maerz mrz marzo",
    4: "apr april abril abr",
    5: "may mai mayo",
    6: "jun june juni junio",
    7: "jul july juli julio",
    8: "aug august agosto ago",
    9: "sep sept september septiembre setiembre",
    10: "oct october okt oktober octubre",
    11: "nov november noviembre",
    12: "dec december dez dezember diciembre dic",
}
MONTH_OF = {name: month for month, names in MONTHS.items() for name in names.split()}

WEEKDAYS = (
    "monday tuesday wednesday thursday friday saturday sunday mon tue tues wed thu thur thurs fri sat sun "
    "montag dienstag mittwoch donnerstag freitag samstag sonnabend sonntag mo di mi do fr sa so "
    "lunes martes miercoles jueves viernes sabado domingo lun mar mie jue vie sab dom"
)
DAYS = rf"^(?:{'|'.join(WEEKDAYS.split())})\b[., ]+(?P<rest>.*[a-z]{{3}}.*\d.*|\d+\D+\d+\D+\d+.*)$"
TIME = (
    r"(?:t|[, ]+|^)(?:at |um |a las )?\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?\s*"
    r"(?:[ap]\.?\s?m\.?(?: |$)|uhr\b|hrs?\b|h\b)?\s*(?:z\b|utc\b|gmt\b)?\s*(?:[-+]\d{1,2}:?\d{2})?\s*(?:[a-z]{3,4}$)?"
)
SHORT_TIME = r"[, ]+\d{1,2}\s*(?:am|pm|uhr)$"

ISO = r"^(?P<y>\d{4})[-/. ](?P<m>\d{1,2})[-/. ](?P<d>\d{1,2})\.?$"
NUMBERS = r"^(?P<a>\d{1,2})(?P<sep>[-/. ])\s?(?P<b>\d{1,2})[-/. ]\s?(?P<c>\d{4}|\d{2})$"
COMPACT = r"^(?P<y>(?:19|20)\d{2})(?P<m>\d{2})(?P<d>\d{2})$"
DAY_MONTH = r"^(?P<d>\d{1,2})(?:st|nd|rd|th)?[-., /]*(?:de )?(?P<m>[a-z]{3,10})[-.,' /]*(?:del? )?(?P<y>\d{4}|\d{2})$"
MONTH_DAY = r"^(?P<m>[a-z]{3,10})[-., /]*(?P<d>\d{1,2})(?:st|nd|rd|th)?[-., /']+(?P<y>\d{4}|\d{2})$"
YEAR_MONTH_DAY = r"^(?P<y>\d{4})[-., /]*(?P<m>[a-z]{3,10})[-., /]*(?P<d>\d{1,2})$"
SERIAL = r"^\d{5}(?:[.,]\d+)?$"
YEAR = r"^(?P<y>(?:19|20)\d{2})(?:\.0)?$"
MONTH_YEAR = r"^(?P<m>\d{1,2}|[a-z]{3,10})[-./ ]+(?P<y>(?:19|20)\d{2})$"
YEAR_MONTH = r"^(?P<y>(?:19|20)\d{2})[-./ ]+(?P<m>\d{1,2})$"

NAME = r"(?P<m>[^\W\d_]{3,10})\.?"
FORMAT_PARTS = {
    "d": r"(?P<d>\d{1,2})",
    "e": r"(?P<d>\d{1,2})",
    "m": r"(?P<m>\d{1,2})",
    "b": NAME,
    "B": NAME,
    "Y": r"(?P<y>\d{4})",
    "y": r"(?P<y>\d{2})",
    "a": r"[^\W\d_]+\.?",
    "A": r"[^\W\d_]+\.?",
    "%": "%",
}
"""strptime codes as regular expressions; the day may have one digit and months any of the known names."""

AHEAD_FIELDS = frozenset({"agreement_renews_on"})
"""Dates that lie ahead of the newest visit by their nature."""

COARSE_FIELDS = frozenset({"manufactured_on", "installed_on", "owner_since", "agreement_since"})
"""Dates long past that are often written as a year or a month; the first day of it is taken and said so."""


@dataclass(frozen=True)
class DateTexts:
    """Distinct cells of one date column and what each may mean.

    ``frame``: ``text``, ``n`` (how often), ``sure`` (Date: only one reading), ``mdy``, ``dmy``, ``ymd`` (Date:
    readings of three numbers), ``serial`` (Date), ``coarse`` (Date: a year or month alone), ``blank`` (Boolean).
    """

    field: str
    header: str
    frame: pl.DataFrame
    low: dt.date | None = None
    high: dt.date | None = None


def iso_dates(texts: pl.Series) -> pl.Series | None:
    """Return the column as dates if every cell that is not empty is year-month-day; None otherwise."""
    dates = texts.str.to_date("%Y-%m-%d", strict=False)
    wrong = (dates.is_null() & texts.is_not_null() & (texts != "")) | (dates.dt.year() < 1000).fill_null(False)
    return None if wrong.any() else dates


def date_texts(texts: pl.Series, field: str, header: str, low: dt.date | None, high: dt.date | None) -> DateTexts:
    """Return what each distinct cell of a column may mean."""
    counted = texts.drop_nulls().alias("text").to_frame().group_by("text").agg(pl.len().alias("n")).sort("text")
    frame = counted.with_columns(plain_date(pl.col("text")).alias("plain"))
    frame = frame.with_columns(pl.col("plain").is_in(sorted(blanks("date") | {"0000-00-00", "0"})).alias("blank"))
    named = [_date(*_parts(pattern, "y", "m", "d")) for pattern in (ISO, COMPACT, DAY_MONTH, MONTH_DAY, YEAR_MONTH_DAY)]
    numbers = pl.col("plain").str.extract_groups(NUMBERS)
    a, b, c = (numbers.struct.field(name) for name in "abc")
    two = c.str.len_chars() == 2
    days = pl.col("plain").str.replace(",", ".", literal=True).str.extract(r"^(\d{5})").cast(pl.Int64, strict=False)
    serial = pl.when(pl.col("plain").str.contains(SERIAL), days.is_between(SERIAL_LOW, SERIAL_HIGH)).then(days)
    coarse = [_date(*_parts(YEAR, "y")), _date(*_parts(MONTH_YEAR, "y", "m")), _date(*_parts(YEAR_MONTH, "y", "m"))]
    frame = frame.with_columns(
        pl.coalesce(named).alias("sure"),
        _date(c, a, b).alias("mdy"),
        _date(c, b, a).alias("dmy"),
        pl.when(two).then(_date(a, b, c)).alias("ymd"),
        pl.date(1899, 12, 30).dt.offset_by(serial.cast(pl.String) + "d").alias("serial"),
        pl.coalesce(coarse).alias("coarse"),
    )
    return DateTexts(field, header, frame.drop("plain"), low, high)


def plain_date(text: pl.Expr) -> pl.Expr:
    """Return cells without time of day and weekday, in lower case without accents."""
    plain = (
        text.str.replace_all("[\\s\u00a0\u202f]+", " ")
        .str.strip_chars(" ")
        .str.to_lowercase()
        .str.strip_chars_start("'")
    )
    for accented, bare in ("ä", "a"), ("á", "a"), ("é", "e"):
        plain = plain.str.replace_all(accented, bare, literal=True)
    plain = plain.str.replace(TIME, " ").str.replace(SHORT_TIME, "").str.strip_chars(" ,")
    return plain.str.replace(DAYS, "${rest}").str.strip_chars(" ,")


def _parts(pattern: str, *names: str) -> tuple[pl.Expr, ...]:
    groups = pl.col("plain").str.extract_groups(pattern)
    return tuple(groups.struct.field(name) for name in names)


def _date(year: pl.Expr, month: pl.Expr | None = None, day: pl.Expr | None = None) -> pl.Expr:
    """Return a Date of text parts, null where they are none; two-digit years by the pivot."""
    number = year.cast(pl.Int64, strict=False)
    short = year.str.len_chars() == 2
    full = pl.when(short & (number >= PIVOT)).then(number + 1900).when(short).then(number + 2000).otherwise(number)
    if month is None:
        months: pl.Expr = pl.when(full.is_not_null()).then(1)
    else:
        months = pl.coalesce(
            month.cast(pl.Int64, strict=False), month.replace_strict(MONTH_OF, default=None, return_dtype=pl.Int64)
        )
    days = pl.lit(1, pl.Int64) if day is None else day.cast(pl.Int64, strict=False)
    parts = [full.cast(pl.String).str.zfill(4), months.cast(pl.String).str.zfill(2), days.cast(pl.String).str.zfill(2)]
    return pl.concat_str(parts, separator="-").str.to_date("%Y-%m-%d", strict=False)


def votes(column: DateTexts) -> dict[str, tuple[int, int]]:
    """Return, per order, how many cells only that order can read, and how many it reads inside the field's range.

    Cells that read the same under every order that reads them say nothing and are left out of the first count.
    """
    frame = three_numbers(column)
    readable = {order: pl.col(order).is_not_null() for order in ORDERS}
    counts = {}
    for order in ORDERS:
        others = [readable[other] for other in ORDERS if other != order]
        only = frame.filter(readable[order] & ~pl.any_horizontal(others))["n"].sum()
        inside = frame.filter(readable[order] & _inside(order, column))["n"].sum()
        counts[order] = (int(only), int(inside))
    return counts


def three_numbers(column: DateTexts) -> pl.DataFrame:
    """Return the distinct cells that are three numbers in an order not yet known."""
    orders = [pl.col(order).is_not_null() for order in ORDERS]
    return column.frame.filter(pl.col("sure").is_null(), ~pl.col("blank"), pl.any_horizontal(orders))


def _inside(order: str, column: DateTexts) -> pl.Expr:
    inside = pl.lit(True)
    if column.low:
        inside = inside & (pl.col(order) >= column.low)
    if column.high:
        inside = inside & (pl.col(order) <= column.high)
    return inside


def dates_from(
    texts: pl.Series, column: DateTexts, order: str | None, *, coarse: bool
) -> tuple[pl.Series, pl.DataFrame]:
    """Return the column as dates, and its distinct cells that are none (``text``, ``state``).

    Day numbers of a spreadsheet count only where most of the column are such; a cell in any single-meaning form
    (year first, month by name) is always read.
    """
    frame = column.frame
    serials = int(frame.filter(pl.col("serial").is_not_null())["n"].sum())
    filled = int(frame.filter(~pl.col("blank"))["n"].sum())
    chosen = [pl.col("sure")]
    if order:
        chosen.append(pl.col(order))
    if serials * 2 > filled:
        chosen.append(pl.col("serial"))
    if coarse:
        chosen.append(pl.col("coarse"))
    known = frame.with_columns(pl.coalesce(chosen).alias("date"))
    found = (
        texts.alias("text").to_frame().join(known.select("text", "date"), on="text", how="left", maintain_order="left")
    )
    wrong = known.filter(pl.col("date").is_null(), ~pl.col("blank")).select("text", pl.lit("not-a-date").alias("state"))
    return found["date"], wrong


def coarse_cells(column: DateTexts) -> int:
    """Return how many cells give only a year or a month."""
    return int(column.frame.filter(pl.col("coarse").is_not_null(), pl.col("sure").is_null())["n"].sum())


def by_format(column: DateTexts, date_format: str) -> DateTexts:
    """Return the column with ``sure`` read by a strptime format of the mapping file, which comes first.

    Raises
    ------
    ValueError
        If the format has no day, month and year.
    """
    pattern = format_pattern(date_format)
    text = pl.col("text").str.strip_chars().str.to_lowercase()
    groups = text.str.extract_groups(pattern)
    said = _date(*(groups.struct.field(name) for name in ("y", "m", "d")))
    return DateTexts(
        column.field,
        column.header,
        column.frame.with_columns(pl.coalesce(said, "sure").alias("sure")),
        column.low,
        column.high,
    )


def format_pattern(date_format: str) -> str:
    """Return the regular expression for a strptime format; what stands behind the date is left open.

    >>> format_pattern("%d.%m.%Y")
    '^\\\\s*(?P<d>\\\\d{1,2})\\\\.(?P<m>\\\\d{1,2})\\\\.(?P<y>\\\\d{4})'
    """
    pattern = ""
    for code, plain in re.findall(r"%-?(.)|([^%]+)", date_format):
        if plain:
            pattern += re.escape(plain).replace("\\ ", r"\s+")
        elif code in FORMAT_PARTS:
            pattern += FORMAT_PARTS[code]
        elif code in "HIMSfpzZTRX":
            pattern += r"[\w:.+\s-]*?"
        elif code in "FDx":
            pattern += {"F": r"(?P<y>\d{4})-(?P<m>\d{1,2})-(?P<d>\d{1,2})"}.get(
                code, r"(?P<m>\d{1,2})/(?P<d>\d{1,2})/(?P<y>\d{2})"
            )
        else:
            raise ValueError(f"date_format {date_format!r} has the unknown part %{code}")
    if sorted(re.findall(r"\?P<(.)>", pattern)) != ["d", "m", "y"]:
        raise ValueError(f"date_format {date_format!r} must say day, month and year once each, as %m/%d/%Y does")
    return rf"^\s*{pattern}"


def order_of_format(date_format: str) -> str | None:
    """Return the order a format of three numbers stands for, None for another kind."""
    found = "".join(re.findall(r"\?P<(.)>", format_pattern(date_format)))
    return found if found in ORDERS and "%b" not in date_format and "%B" not in date_format else None


def format_for(order: str, samples: Sequence[str]) -> str:
    """Return the strptime format that says ``order`` for cells that look like ``samples``."""
    plain = (
        pl.DataFrame({"text": list(samples)}, schema={"text": pl.String}).select(plain_date(pl.col("text"))).to_series()
    )
    hit = next((found for text in plain if (found := re.match(NUMBERS, text or ""))), None)
    sep, year = (hit["sep"], "%Y" if len(hit["c"]) == 4 else "%y") if hit else ("/", "%Y")
    codes = {"m": "%m", "d": "%d", "y": year if order != "ymd" else "%y"}
    return sep.join(codes[c] for c in order)
