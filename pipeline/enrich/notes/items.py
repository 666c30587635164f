"""A note as a row of items: labels, numbers with their units, weights, roles, marks, and what only separates them."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from pipeline.enrich.notes.chunks import BREAK, NUMBER, SIGN, SPELLED, Atom, atoms_of, number_of
from pipeline.enrich.notes.lexicon import OTHER_UNIT, Lexicon, Meaning, lexicon
from pipeline.enrich.notes.sections import SIZE_STEP, is_like_size_pair
from pipeline.enrich.notes.spoken import SPOKEN, spoken_numbers
from pipeline.units import OZ_PER_KG

LABEL, ROLE, MARK, WEIGHT, REFRIGERANT, JOINT, FILLER, OTHER = (
    "label", "role", "mark", "weight", "refrigerant", "joint", "filler", "other",
)  # fmt: skip
PASSING = frozenset({ROLE, FILLER})
"""What may stand between a label and its number."""
OUNCES_PER_POUND = 16.0
OUNCES_IN = {"oz": 1.0, "lb": OUNCES_PER_POUND, "kg": OZ_PER_KG, "g": OZ_PER_KG / 1000}
CAP_WORDS = frozenset({"cap", "capacitor"})
UNIT_NOUNS = frozenset({"unit", "system", "sys", "ac", "condenser", "cond", "side", "zone", "units"})
"""Nouns after (or before) which a place or number says which unit is meant."""

SHARED_UNITS = frozenset({"uF", "amp", "psi", "degF", "volt"})
"""Units that, written once, are of both numbers of a pair."""
MOST_HORSEPOWER = 30
"""A number above this before ``hp`` is a pressure on the high side, no motor."""
LEAST_POUNDS_PRESSURE = 40.0
"""From here on "#" and "lbs" are pressures: no house takes so much refrigerant."""
MOST_WHOLE_POUNDS = 20.0
FIRST_YEAR, LAST_YEAR = 1950, 2049
"""A whole number from one to the other, unless it is an airflow, is a year."""
PART_VOLTS = frozenset({330.0, 370.0, 440.0})
"""Voltage classes of run capacitors (common practice, no source): they belong to a part's size."""

_CHUNKS = re.compile(r"\S+|\n|\r")
_NOTHING = Meaning()


@dataclass(slots=True)
class Item:
    """One item with its place in the note."""

    kind: str
    text: str
    start: int
    end: int
    meaning: Meaning = field(default=_NOTHING)
    value: float = 0.0
    unit: str | None = None
    decimals: int = 0
    role: str | None = None


def items_of(note: str) -> list[Item]:
    """Return the items of a note in order; nothing between them is lost but blanks."""
    words = lexicon()
    atoms: list[Atom] = []
    places: list[int] = []
    for match in _CHUNKS.finditer(note):
        chunk = match.group()
        if chunk in "\n\r":
            atoms.append(_LINE_END)
            places.append(match.start())
            continue
        found = (number_of(chunk),) if chunk.isascii() and chunk.isdecimal() else atoms_of(chunk)
        atoms += found
        places += [match.start()] * len(found)
    if not SPOKEN.isdisjoint([atom.text for atom in atoms]):
        atoms, places = spoken_numbers(atoms, places)
    return _weights(_units(_phrases(atoms, places, words)), words)


_LINE_END = Atom(BREAK, "\n", 0, 1)


def _phrases(atoms: list[Atom], places: list[int], words: Lexicon) -> list[Item]:
    """Join words to the longest known phrase."""
    out: list[Item] = []
    i, count = 0, len(atoms)
    while i < count:
        atom, place = atoms[i], places[i]
        if atom.kind in SPELLED:
            meaning, last = words.singles.get(atom.text), i
            if atom.text in words.seconds:
                meaning, last = _longest(atoms, i, words)
            if meaning is not None:
                text = atom.text if last == i else " ".join(a.text for a in atoms[i : last + 1] if a.kind != SIGN)
                out.append(Item(_kind(meaning), text, place + atom.start, places[last] + atoms[last].end, meaning))
                i = last + 1
                continue
            out.append(Item(OTHER, atom.text, place + atom.start, place + atom.end))
        elif atom.kind == NUMBER:
            kind = REFRIGERANT if atom.unit == "refrigerant" else NUMBER
            item = Item(kind, atom.text, place + atom.start, place + atom.end, _NOTHING, atom.value, atom.unit)
            item.decimals = atom.decimals
            out.append(item)
        else:
            kind = JOINT if atom.kind == SIGN else atom.kind
            out.append(Item(kind, atom.text, place + atom.start, place + atom.end))
        i += 1
    return out


def _longest(atoms: list[Atom], i: int, words: Lexicon) -> tuple[Meaning | None, int]:
    first = atoms[i].text
    most = words.longest.get(first)
    if most is None:
        return None, i
    seconds = words.seconds.get(first)
    at = i + 1
    while at < len(atoms) and atoms[at].kind == SIGN:
        at += 1
    if seconds is None or at >= len(atoms) or atoms[at].text not in seconds:
        return words.singles.get(first), i
    texts, ends = [first], [i]
    at = i + 1
    while len(texts) < most and at < len(atoms):
        atom = atoms[at]
        if atom.kind == SIGN and atom.text in "-/()&" and len(atom.text) == 1 and ends[-1] == at - 1:
            at += 1
            continue
        if atom.kind not in SPELLED:
            break
        texts.append(atom.text)
        ends.append(at)
        at += 1
    for size in range(len(texts), 0, -1):
        meaning = words.phrases.get(tuple(texts[:size]))
        if meaning is not None:
            return meaning, ends[size - 1]
    return None, i


def _kind(meaning: Meaning) -> str:
    if meaning.label is not None:
        return LABEL
    if meaning.mark is not None:
        return MARK
    if meaning.role is not None:
        return ROLE
    if meaning.joint is not None:
        return JOINT
    return FILLER if meaning.filler else OTHER


def is_cap(item: Item) -> bool:
    """Whether a label names the part itself: ``cap``, ``fan capacitor``."""
    return item.text.rsplit(" ", 1)[-1] in CAP_WORDS or item.meaning.label == "cap"


def size_at(items: list[Item], i: int) -> int | None:
    """Return the index after a dual capacitor's size at ``i``; None where the numbers stand on no label."""
    if i >= len(items) or items[i].kind != NUMBER or items[i].unit not in {None, "uF"}:
        return None
    at = i + 1
    if at < len(items) and (items[at].text in {"/", "+", "&", "over"} or items[at].meaning.joint == "and"):
        at += 1
    if at >= len(items) or items[at].kind != NUMBER or items[at].unit not in {None, "uF"}:
        return None
    written = all(items[n].decimals == 0 or items[n].value % 5 == SIZE_STEP for n in (i, at))
    return at + 1 if written and is_like_size_pair((items[i].value, items[at].value)) else None


def _units(items: list[Item]) -> list[Item]:
    """Give numbers the unit written after them."""
    out: list[Item] = []
    i, count = 0, len(items)
    while i < count:
        item = items[i]
        i += 1
        if item.kind != NUMBER:
            out.append(item)
            continue
        if item.unit is None and i < count:
            unit = items[i]
            high_side = unit.text == "hp" and item.value > MOST_HORSEPOWER
            if unit.meaning.unit is not None and not high_side and not _begins_next(items, i, out):
                item.unit, item.end = unit.meaning.unit, unit.end
                i += 1
            elif unit.text == "(" and i + 1 < count and items[i + 1].meaning.unit and items[i + 1].kind != LABEL:
                item.unit, item.end = items[i + 1].meaning.unit, items[i + 1].end
                i += 2
            elif unit.text == "c" and item.value < LEAST_POUNDS_PRESSURE and _ends_here(items, i + 1):
                item.unit = OTHER_UNIT  # degrees Celsius
        if item.unit == "inH2O" and i < count and items[i].meaning.unit == "inH2O":
            item.end = items[i].end  # .65" wc
            i += 1
        if item.unit == OTHER_UNIT or (_is_year(item) and not _of_airflow(out)):
            item.kind = OTHER
        elif item.value in PART_VOLTS and (item.unit == "volt" or _ends_size(item, out)):
            item.kind = FILLER
        out.append(item)
    for at in range(1, len(out) - 1):
        if out[at].text != "/":
            continue
        first, second = out[at - 1], out[at + 1]
        if first.kind == second.kind == NUMBER and first.unit is None:
            first.unit = second.unit if second.unit in SHARED_UNITS else None
        if {first.kind, second.kind} == {NUMBER, OTHER} and first.value and second.value:
            first.kind = second.kind = OTHER
    return out


def _is_year(item: Item) -> bool:
    return len(item.text) == 4 and item.unit is None and FIRST_YEAR <= item.value <= LAST_YEAR


def names_year(item: Item) -> bool:
    """Whether a word of no other meaning is a year."""
    return item.kind == OTHER and FIRST_YEAR <= item.value <= LAST_YEAR


def _of_airflow(before: list[Item]) -> bool:
    return bool(before) and before[-1].meaning.label == "airflow"


def _ends_here(items: list[Item], i: int) -> bool:
    """Whether no number follows that the word before ``i`` could be the label of."""
    return i >= len(items) or (items[i].kind != NUMBER and items[i].text not in {":", "-", "/"})


def _ends_size(item: Item, before: list[Item]) -> bool:
    """Whether an unlabelled 440 or 370 stands after a size: ``45/5 440``, ``35 mfd 370``."""
    if item.unit is not None or not before or before[-1].kind != NUMBER:
        return False
    return before[-1].unit == "uF" or (len(before) > 2 and before[-2].text == "/" and before[-3].kind == NUMBER)


def _begins_next(items: list[Item], i: int, before: list[Item]) -> bool:
    """Whether the word after a number is the label of the next number: ``static .6 cfm 1210``, ``H 38.2 F 4.6``."""
    if items[i].kind != LABEL or not before or i + 1 >= len(items):
        return False
    at = i + 1
    while at < len(items) and (items[at].kind in PASSING or items[at].text in {":", "-"}):
        at += 1
    if at >= len(items) or items[at].kind != NUMBER:
        return False
    follows = items[at + 1] if at + 1 < len(items) else None
    if follows is not None and (follows.meaning.unit is not None or (follows.kind == LABEL and not is_cap(follows))):
        return False
    back = len(before) - 1
    while back >= 0 and (before[back].kind in {ROLE, FILLER, NUMBER} or before[back].text in {":", "-", "/"}):
        back -= 1
    return back >= 0 and before[back].kind == LABEL


def _weights(items: list[Item], words: Lexicon) -> list[Item]:
    """Join pounds and ounces to one weight in ounces, and tell refrigerants from numbers beside them."""
    if OUNCES_IN.keys().isdisjoint([item.unit for item in items]) and "r" not in [item.text for item in items]:
        return items
    out: list[Item] = []
    i, count = 0, len(items)
    while i < count:
        item = items[i]
        i += 1
        if item.kind == NUMBER and item.unit == "lb" and item.value >= LEAST_POUNDS_PRESSURE:
            item.unit = "psi"
        if item.kind == NUMBER and item.unit in OUNCES_IN:
            ounces = item.value * OUNCES_IN[item.unit]
            weight = Item(WEIGHT, item.text, item.start, item.end, _NOTHING, ounces)
            _take_fraction(out, weight, item)
            if item.unit == "lb" and i < count:
                at = i + 1 if items[i].meaning.joint == "and" else i
                rest = items[at] if at < count else item
                if rest.kind == NUMBER and rest.unit == "oz" and rest.value < OUNCES_PER_POUND:
                    weight.value += rest.value
                    weight.end = rest.end
                    i = at + 1
            out.append(weight)
            at = i
            while at < count and items[at].text in {"of", "r", "-"}:
                at += 1
            if at < count and _names_refrigerant(items, at, words):
                items[at].kind = REFRIGERANT
                i = at
            continue
        if item.kind == OTHER and item.text == "r" and i < count and items[i].text in words.refrigerants:
            items[i].kind, items[i].start = REFRIGERANT, item.start
            continue
        out.append(item)
    return out


def _names_refrigerant(items: list[Item], at: int, words: Lexicon) -> bool:
    """Whether the number after a weight is a refrigerant's and not the reading of the label after it."""
    item = items[at]
    if item.kind != NUMBER or item.unit is not None or item.text not in words.refrigerants:
        return False
    after = items[at + 1] if at + 1 < len(items) else None
    return after is None or after.kind != LABEL or after.meaning.label in {"cap", "pressures"}


def _take_fraction(out: list[Item], weight: Item, item: Item) -> None:
    """Read ``1/2 lb`` and ``1 1/2 lb``: the numbers before the weight belong to it."""
    if len(out) < 2 or out[-1].text != "/" or out[-2].kind != NUMBER or out[-2].unit is not None:
        return
    upper = out[-2].value
    if not (0 < upper < item.value <= OUNCES_PER_POUND) or out[-2].decimals:
        return
    weight.value = upper / item.value * (OUNCES_PER_POUND if item.unit == "lb" else 1.0)
    weight.start = out[-2].start
    del out[-2:]
    whole = out[-1] if out else item
    plain = whole.kind == NUMBER and whole.unit is None and not whole.decimals and whole.value <= MOST_WHOLE_POUNDS
    if item.unit == "lb" and plain and weight.start - whole.end <= 1:
        weight.value += whole.value * OUNCES_PER_POUND
        weight.start = whole.start
        out.pop()
