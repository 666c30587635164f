"""One note read by a fixed grammar: readings, ratings, parts, checks, observations, each with where it is written."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from operator import itemgetter
from typing import NamedTuple

from pipeline.enrich.notes.chunks import BREAK, COMMA, HASH, NUMBER
from pipeline.enrich.notes.elements import LETTERS, Context
from pipeline.enrich.notes.items import (
    FILLER,
    JOINT,
    LABEL,
    MARK,
    OTHER,
    PASSING,
    REFRIGERANT,
    ROLE,
    WEIGHT,
    Item,
    is_cap,
    items_of,
)
from pipeline.enrich.notes.lexicon import Meaning, lexicon
from pipeline.enrich.notes.limits import limits
from pipeline.enrich.notes.marks import Mark, mark_items
from pipeline.enrich.notes.observations import observed
from pipeline.enrich.notes.pairing import match_stretch
from pipeline.enrich.notes.past import END, MAY_BE_EARLIER, earlier, of_present
from pipeline.enrich.notes.roles import give_roles
from pipeline.enrich.notes.sections import CHECKED, DUAL, FITTED, PART, READING, Said
from pipeline.enrich.notes.weights import weighed

LONGEST_NOTE = 3_000
"""Characters read of one note; what lies beyond is not read. A technician's note is a tenth of that at most."""
LONGEST_STRETCH = 80
"""Labels and numbers in a row that are matched together; more in a row is no writing."""

CAPACITOR_LABELS = frozenset({"cap", "herm", "blower_cap"})
AMP_WORDS = frozenset({"amps", "compressor_amps", "fan_amps", "blower_amps", "other_amps"})
HUMIDITY = frozenset({"humidity", "outdoor_humidity"})
NEEDS: Mapping[str | None, str] = {"supply_if_return": "return", "dry_bulb_if_wet_bulb": "wet_bulb"}
"""Labels that are one beside another alone: ``sat`` is supply air where return air is told too."""
WET_BULBS = frozenset({"wb", "w b", "wet bulb", "wetbulb"})
SUPPLY_WET_BULB = Meaning(label="supply_wet_bulb")
ACTUAL = frozenset({"actual", "act"})
_OWN_PARTS = frozenset({"fitted", "advised"})
_PLACE = itemgetter(2, 3)
"""Start and end of what was told."""
_ENDERS = frozenset({OTHER, BREAK, COMMA, MARK, WEIGHT, REFRIGERANT, HASH})


class Told(NamedTuple):
    """One thing a note tells, the mark it stands under, and its place in the note."""

    said: Said
    mark: Mark | None
    start: int
    end: int


def read_note(note: str, refrigerant: str | None = None) -> list[Told]:
    """Return everything the note tells, in order of writing.

    Parameters
    ----------
    note
        As typed; never trusted.
    refrigerant
        The unit's, as the register names it; a pair of pressures is taken where it is possible for it.

    Examples
    --------
    >>> [(t.said.field, t.said.value) for t in read_note("SH 14 sc 9, cap 38.2/4.6")]
    [('recorded_superheat_f', 14.0), ('recorded_subcooling_f', 9.0), ('herm_uf', 38.2), ('fan_uf', 4.6)]
    """
    items = items_of(note[:LONGEST_NOTE])
    if not items:
        return []
    marks = mark_items(items)
    kinds = [item.kind for item in items]
    told: list[Told] = []
    if NUMBER in kinds:
        told = _readings(items, marks, refrigerant, fits=give_roles(items))
        if told and MAY_BE_EARLIER.search(note):
            told = _without_past(told, items)
    if WEIGHT in kinds:
        told += [Told(said, marks[i], start, end) for said, i, start, end in weighed(items)]
    roles = {item.meaning.role for item in items}
    if "open" in roles:
        told += _opens(items, marks)
    if "good" in roles:
        told += _checks(items, marks, told)
    told += [Told(said, marks[i], start, end) for said, i, start, end in observed(items)]
    told.sort(key=_PLACE)
    return told if ":" in note or "\n" in note else _without_shared(told)


def _without_past(told: list[Told], items: list[Item]) -> list[Told]:
    """Leave out readings and parts of earlier visits."""
    past, dated = earlier(items)
    if not past and not dated:
        return told

    def spoken_in(one: Told, clauses: Sequence[tuple[int, int]]) -> bool:
        return any(one.start < end and one.end > start for start, end in clauses)

    return [
        one
        for one in told
        if not (one.said.kind in {READING, PART} and spoken_in(one, past))
        and not (one.said.text == FITTED and spoken_in(one, dated))
    ]


def _without_shared(told: list[Told]) -> list[Told]:
    """Take the mark off outdoor air told once, after the last of several marks: it is said of the place."""
    marks = [one.mark for one in told if one.mark is not None]
    outdoor = [one for one in told if one.said.field == "outdoor_db_f"]
    if len(set(marks)) < 2 or len(outdoor) != 1 or outdoor[0].mark != marks[-1]:
        return told
    return [one._replace(mark=None) if one is outdoor[0] else one for one in told]


def _readings(items: list[Item], marks: list[Mark | None], refrigerant: str | None, *, fits: bool) -> list[Told]:
    labels = {item.meaning.label for item in items if item.kind == LABEL}
    units = {item.unit for item in items}
    fan_cap = "fan" in labels and any(item.meaning.label == "fan" and item.text != "fan" for item in items)
    context = Context(
        refrigerant=refrigerant,
        speaks_of_capacitors="uF" in units or fan_cap or not labels.isdisjoint(CAPACITOR_LABELS),
        speaks_of_amps="amp" in units or not labels.isdisjoint(AMP_WORDS) or _compressor_number(items, labels),
        both_letters=labels >= LETTERS,
    )
    out: list[Told] = []
    stretch: list[Item] = []
    first = 0
    if {"low", "high"} <= labels:
        _name_pressures(items, refrigerant)
    as_is = fits or not {"after", "advised"} & {item.role for item in items}
    needy = not labels.isdisjoint(NEEDS)
    for i, item in enumerate([*items, END]):
        if needy and (needs := NEEDS.get(item.meaning.label)) is not None and needs not in labels:
            item.kind = FILLER if needs == "wet_bulb" else OTHER
        if item.kind == COMMA and i + 1 < len(items) and items[i + 1].text in ACTUAL:
            continue
        if item.kind in _ENDERS or (item.text == "to" and stretch and items[i - 1].kind == LABEL):
            if stretch:
                context.priced = item.text.startswith("$")
                lead = first - 2 if first > 1 and items[first - 1].kind in PASSING else first - 1
                context.led_in = lead >= 0 and items[lead].kind == OTHER
                for matched in match_stretch(stretch, item, context):
                    said_here = matched.said if as_is else tuple(of_present(matched.said))
                    out += [Told(said, marks[first], matched.start, matched.end) for said in said_here]
                    _remember(said_here, context)
                if len(stretch) == 1 and stretch[0].kind == LABEL and is_cap(stretch[0]):
                    section = lexicon().labels[str(stretch[0].meaning.label)].section
                    context.last_section = None if section == DUAL else section
                stretch = []
            if item.kind == BREAK:
                context.amps = context.line_temps = False
                context.found = {}
            continue
        if item.kind in PASSING or (item.unit == "pct" and not labels & HUMIDITY):
            continue
        if item.kind == LABEL:
            if _only_says_how(items, i, stretch):
                continue
            _set_context(items, i, context)
            if item.text in WET_BULBS and len(stretch) > 2 and _is_of_supply(stretch):
                item.meaning = SUPPLY_WET_BULB
        if not stretch:
            first = i
        stretch.append(item)
        if len(stretch) == LONGEST_STRETCH:
            found = match_stretch(stretch, None, context)
            out += [Told(said, marks[first], one.start, one.end) for one in found for said in one.said]
            stretch = []
    return out


def _compressor_number(items: list[Item], labels: set[str | None]) -> bool:
    """Whether a bare number stands after "comp": most likely amps, so that a small one after "fan" is amps too."""
    if "compressor" not in labels:
        return False
    pairs = pairwise(items)
    return any(one.meaning.label == "compressor" and after.kind == NUMBER and not after.unit for one, after in pairs)


def _name_pressures(items: list[Item], refrigerant: str | None) -> None:
    """Read ``low 118 high 350`` as the pressures where both can be."""
    low_from, low_to, high_from, high_to = limits().pressures(refrigerant)
    sides: dict[str, Item] = {}
    for label, number in pairwise(items):
        name = label.meaning.label if label.kind == LABEL else None
        if name not in {"low", "high"} or number.kind != NUMBER or number.unit not in {None, "psi"}:
            continue
        first, last = (low_from, low_to) if name == "low" else (high_from, high_to)
        if first <= number.value <= last:
            sides[name] = label
    if len(sides) == 2:
        sides["low"].meaning, sides["high"].meaning = Meaning(label="suction_pressure"), Meaning(label="head_pressure")


def _is_of_supply(stretch: list[Item]) -> bool:
    """Whether a wet bulb after this is the supply's: ``supply 54/53 wb``, or the second one told."""
    names = [str(item.meaning.label) for item in stretch if item.kind == LABEL]
    air = next((name for name in reversed(names) if name in {"return", "supply"}), None)
    return air == "supply" and (stretch[-2].text == "/" or any(item.text in WET_BULBS for item in stretch))


def _only_says_how(items: list[Item], i: int, stretch: list[Item]) -> bool:
    """Whether a label says nothing here: ``head high 455``, ``herm side of the capacitor``."""
    name = items[i].meaning.label
    after = items[i + 1] if i + 1 < len(items) else None
    if name in {"low", "high"} and i and (after is None or after.text != "/"):
        return items[i - 1].kind in {LABEL, ROLE, FILLER} or items[i - 1].unit == "pct"
    if name == "cap" and stretch and stretch[-1].kind == LABEL:
        return lexicon().labels[str(stretch[-1].meaning.label)].section in {"herm", "fan", "blower"}
    return False


def _set_context(items: list[Item], i: int, context: Context) -> None:
    name = items[i].meaning.label
    after = items[i + 1] if i + 1 < len(items) else None
    if name == "amps":
        context.amps = after is not None and (after.text in {":", "("} or after.kind in {LABEL, NUMBER})
    elif name == "line_temps":
        context.line_temps = True


def _remember(said: tuple[Said, ...], context: Context) -> None:
    sections = {one.field.removeprefix("part_").removeprefix("cap_").split("_")[0] for one in said}
    if sections <= {"herm", "fan", "blower"}:
        context.last_section = sections.pop() if len(sections) == 1 else None
    for one in said:
        if one.kind == READING and one.field in {"herm_uf", "fan_uf"}:
            context.found[one.field.split("_")[0]] = one.value or 0.0
    fitted = tuple(one.value or 0.0 for one in said if one.kind == PART and one.text == FITTED)
    if fitted:
        context.fitted = fitted


def _opens(items: list[Item], marks: list[Mark | None]) -> list[Told]:
    """Read a section said to be open (``herm open``, ``OL on fan side``): 0 microfarads."""
    out: list[Told] = []
    capacitors = any(item.kind == LABEL and item.meaning.label in CAPACITOR_LABELS for item in items)
    for i, item in enumerate(items):
        if item.meaning.role != "open":
            continue
        before = i - 1
        while before >= 0 and (items[before].kind in PASSING or items[before].text in {":", "-"}):
            before -= 1
        after = i + 1
        while after < len(items) and items[after].kind == FILLER:
            after += 1
        for at in (before, after if after > i + 1 or item.text != "open" else -1):
            if not 0 <= at < len(items) or items[at].kind != LABEL:
                continue
            section = lexicon().labels[str(items[at].meaning.label)].section
            if section in {"herm", "fan", "blower"} and (items[at].text != "fan" or capacitors):
                start, end = min(items[at].start, item.start), max(items[at].end, item.end)
                out.append(Told(Said(READING, f"{section}_uf", 0.0), marks[i], start, end))
                break
    return out


def _checks(items: list[Item], marks: list[Mark | None], told: list[Told]) -> list[Told]:
    """Read ``cap good``: the capacitor was checked, no number was written down."""
    read = {one.mark for one in told if one.said.field.split("_")[0] in {"herm", "fan", "blower"}}
    for i, item in enumerate(items):
        if item.kind != LABEL or item.meaning.label != "cap" or marks[i] in read:
            continue
        good = _good_after(items, i)
        if good is not None and not _negated(items, i):
            return [Told(Said(CHECKED, "capacitor", None, "good"), marks[i], item.start, good.end)]
    return []


def _good_after(items: list[Item], i: int) -> Item | None:
    """Return the word that calls the thing before it good, where nothing between says otherwise."""
    for other in items[i + 1 : i + 6]:
        if other.meaning.role == "good":
            return other
        between = other.kind in {ROLE, FILLER, JOINT} or other.unit == "pct"
        if not between or other.meaning.role in {"bad", *_OWN_PARTS}:
            return None
    return None


def _negated(items: list[Item], i: int) -> bool:
    return i > 0 and items[i - 1].text in {"no", "not", "new"}
