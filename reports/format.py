"""Numbers, dates and odds as people read them; the only place where a value turns into words."""

from __future__ import annotations

import datetime as dt
import hashlib
import re
from collections.abc import Mapping

from pipeline.fields import registry

NOT_KNOWN = "–"
MINUS = "−"
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
TEXT_SHOWN = 300
NAME_SHOWN = 60
TITLE_SHOWN = 70
"""A window or a tab shows no more of a title."""


def day(value: dt.date | None) -> str:
    """Return ``14 Mar 2026``, the same in every locale."""
    return NOT_KNOWN if value is None else f"{value.day} {MONTHS[value.month - 1]} {value.year}"


def day_near(value: dt.date, near: dt.date | None) -> str:
    """Return a day without its year where that is the year of ``near``: ``14 Mar``."""
    return f"{value.day} {MONTHS[value.month - 1]}" if near and value.year == near.year else day(value)


def number(value: float | None, decimals: int = 0) -> str:
    """Return the number with thousands separators and a true minus sign; null is a dash."""
    if value is None:
        return NOT_KNOWN
    text = f"{value:,.{decimals}f}"
    return text.replace("-", MINUS) if float(text.replace(",", "")) != 0 else text.lstrip("-")


def ounces(value: float | None) -> str:
    """Return a weight of refrigerant, ``14 oz``; a tenth only where there is one.

    Examples
    --------
    >>> ounces(14.0), ounces(8.5)
    ('14 oz', '8.5 oz')
    """
    return NOT_KNOWN if value is None else f"{number(value, 1).removesuffix('.0')} oz"


def signed(value: float | None, decimals: int = 1) -> str:
    """Return the number with its sign, as drift and deviation are shown."""
    if value is None:
        return NOT_KNOWN
    text = number(value, decimals)
    return text if text.startswith(MINUS) or not text.strip("0.,") else f"+{text}"


def money(value: float | None, currency: str) -> str:
    """Return a rounded amount with its currency's code."""
    return NOT_KNOWN if value is None else f"{number(round(value, -1))} {currency}"


def count(value: int, one: str, many: str | None = None) -> str:
    """Return ``1 unit`` or ``2 units``."""
    return f"{number(value)} {one if value == 1 else many or one + 's'}"


def chance(p: float | None) -> str:
    """Return a probability as a count out of a round number.

    Parameters
    ----------
    p
        Probability, 0 to 1.

    Notes
    -----
    Natural frequencies are read with fewer mistakes than percentages (Gigerenzer & Hoffrage, Psychological Review
    102(4), 1995; from memory).

    Examples
    --------
    >>> chance(0.31)
    'about 3 in 10'
    >>> chance(0.048)
    'about 1 in 20'
    >>> chance(0.004)
    'fewer than 1 in 100'
    """
    if p is None:
        return "not known"
    if p > 0.95:
        return "more than 9 in 10"
    if p >= 0.15:
        return f"about {max(2, round(p * 10))} in 10"
    if p < 0.01:
        return "fewer than 1 in 100"
    return f"about 1 in {_nearest_step(1 / p)}"


def chance_range(low: float | None, high: float | None) -> str:
    """Return the interval of a probability in the same counts, ``2 to 5 in 10``; blank where there is none.

    Examples
    --------
    >>> chance_range(0.19, 0.52)
    '2 to 5 in 10'
    >>> chance_range(0.02, 0.15)
    '2 to 15 in 100'
    >>> chance_range(0.6, 0.994)
    '6 to more than 9 in 10'
    """
    if low is None or high is None:
        return ""
    base = 10 if low >= 0.095 else 100
    least, most = round(low * base), round(high * base)
    upper = f"more than {base - 1}" if most >= base else str(most)
    if least == most:
        return f"{upper} in {base}" if most else f"under 1 in {base}"
    return f"{least if least else 'under 1'} to {upper} in {base}"


_STEPS = (5, 6, 7, 8, 9, 10, 12, 15, 20, 25, 30, 40, 50, 60, 80, 100)


def _nearest_step(one_in: float) -> int:
    return min(_STEPS, key=lambda step: abs(step - one_in) / step)


def about(value: float) -> str:
    """Return an expected count without false precision: one decimal under 3, else whole."""
    if 0 < value < 0.05:
        return "under 0.1"
    whole = abs(value - round(value)) < 0.05
    return number(value) if value >= 3 or whole else number(value, 1)


def calls(value: float) -> str:
    """Return an expected number of no-cooling calls in words."""
    if value < 0.5:
        return "fewer than one no-cooling call"
    return f"about {count(round(value), 'no-cooling call')}"


def weeks(days: int) -> str:
    """Return a span of days as people say it: days up to three weeks, then weeks."""
    return count(days, "day") if days < 21 else count(round(days / 7), "week")


def cut(text: str | None, most: int = TEXT_SHOWN) -> str:
    """Return text on one line, cut at ``most`` characters; null is empty. Escaping is the template's."""
    if text is None:
        return ""
    flat = text if text.isprintable() else "".join(c if c.isprintable() else " " for c in text)
    return flat if len(flat) <= most else flat[: most - 1] + "…"


def name(text: str | None) -> str:
    """Return a short text such as a name or an id, cut so that it cannot push a page apart."""
    return cut(text, NAME_SHOWN)


_DERIVED = re.compile(r"unit-[0-9a-f]{10}")


def known_as(unit_id: str, customer_name: str | None, address: str | None) -> str:
    """Return what people call a unit: its id, or the street or customer where the program had to make the id up."""
    return name((address or customer_name or unit_id) if _DERIVED.fullmatch(unit_id) else unit_id)


RATED_FROM = {
    "part": "as fitted",
    "notes": "label as a note tells it",
    "model": "as others of this model here",
    "nearest_size": "guessed: the nearest common size",
}
"""Where a rating is known from, if the register does not have it."""


def rated_from(source: str | None) -> str:
    """Return where a rating is known from; nothing is said of one on the register."""
    return RATED_FROM.get(source or "", "")


def words(text: str | None) -> str:
    """Return a stored word such as ``no_cooling`` as ``no cooling``; null is a dash."""
    return name(text.replace("_", " ")) if text else NOT_KNOWN


SUSPECT: Mapping[str, str] = {
    "rating_copied": "the rating typed where a reading belongs",
    "may_be_new_part": "may be a new part that nobody wrote down",
    "rise_without_replacement": "higher than before, with no new part on file",
    "sections_swapped": "the two sections look swapped",
    "decimal_slip": "the decimal point looks slipped",
    "line_voltage_used": "worked out with the line voltage, not the volts across the section",
    "liquid_not_over_suction": "liquid pressure not over suction pressure",
    "condensing_below_outdoor": "condensing colder than the outdoor air",
    "supply_colder_than_coil": "supply air colder than the coil",
}
"""Why a reading is doubted, where the stored word does not say it well."""


def doubt(code: str | None) -> str:
    """Return why a reading is doubted; a code that reads as words is shown as them."""
    return SUSPECT.get(code or "", words(code))


def chart_text(text: str | None) -> str:
    """Return text that a chart shows as it is: the chart's own markup (``<b>``, ``<a>``, entities) is disarmed.

    plotly reads a small HTML of its own in names, labels and hover text, whatever the page escapes.
    """
    shown = name(text)
    return shown.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def file_stem(unit_id: str, *, readable: bool = True) -> str:
    """Return a file name for a unit's page: letters, digits and dashes, made unique by a digest of the whole id.

    ``readable=False`` leaves only the digest, where an id may hold a street.
    """
    digest = hashlib.sha256(unit_id.encode("utf-8", "surrogatepass")).hexdigest()[:10]
    plain = re.sub(r"[^A-Za-z0-9]+", "-", unit_id).strip("-")[:32].strip("-").lower()
    return f"{plain}-{digest}" if readable and plain else digest


SECTIONS: Mapping[str, str] = {"herm": "hermetic", "fan": "fan", "blower": "blower"}


def section(key: str | None) -> str:
    """Return the name of a capacitor section."""
    return SECTIONS.get(key or "", words(key))


def field_label(field: str | None) -> str:
    """Return what people call a field of the registry; an unknown one as its words."""
    found = next((t.fields[field] for t in registry().values() if field in t.fields), None) if field else None
    return found.label if found else words(field)


def dialled(phone: str) -> str:
    """Return what a phone dials: digits and a leading plus."""
    digits = re.sub(r"[^0-9]", "", phone)[:20]
    return f"+{digits}" if phone.strip().startswith("+") else digits


def delimiter(sign: str | None) -> str:
    """Return the name of a file's delimiter."""
    return {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}.get(sign or "", "delimiter not said")


_ISO_DATE = re.compile(r"\b(\d{4})-(\d{2})-(\d{2})\b")
_UNITS = ((re.compile(r"\buF\b"), "µF"), (re.compile(r"\bdegF\b"), "°F"), (re.compile(r"(?<![\w)])-(?=\d)"), MINUS))


def reason_text(text: str) -> str:
    """Return a stored reason with its dates and units as people write them.

    Examples
    --------
    >>> reason_text("read 34.6 of 40 uF (-13.5 %) on 2025-02-03")
    'read 34.6 of 40 µF (−13.5 %) on 3 Feb 2025'
    """
    dated = _ISO_DATE.sub(_as_day, text)
    for pattern, sign in _UNITS:
        dated = pattern.sub(sign, dated)
    return cut(dated)


_BEFORE_UNIT = re.compile(r"(?<=\d) (?=%|µF|°F|×|(?:V|oz|psig)\b)|(?<=µF) (?=\d+ V\b)|(?<=×) (?=\d)")


def kept_together(text: str) -> str:
    """Return the text with each number on the line of its unit: the space between them does not break.

    Examples
    --------
    >>> kept_together("limit −6 %").split(" ")
    ['limit', '−6\\xa0%']
    """
    return _BEFORE_UNIT.sub("\u00a0", text)


def _as_day(found: re.Match[str]) -> str:
    try:
        return day(dt.date(*(int(part) for part in found.groups())))
    except ValueError:
        return found.group()


def capacitor_size(part: Mapping[str, float | None]) -> str:
    """Return the size of a fitted capacitor as its label has it, ``40+5 µF 440 V``; a dash for another part."""
    sections = [part["cap_herm_uf"], part["cap_fan_uf"], part["cap_blower_uf"]]
    rated = "+".join(f"{value:g}" for value in sections if value)
    volts = f" {part['cap_volts']:g} V" if part["cap_volts"] else ""
    return f"{rated} µF{volts}" if rated else NOT_KNOWN


def sentence_start(text: str) -> str:
    """Return the text with a capital first letter."""
    return text[:1].upper() + text[1:]
