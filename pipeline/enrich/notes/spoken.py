"""Numbers written out in words, as telephones write down what is dictated: ``thirty eight point four``.

``one`` alone is no number (``the old one``), unless a unit of weight follows it.
"""

from __future__ import annotations

from pipeline.enrich.notes.chunks import NUMBER, WORD, Atom

_ONES = {
    word: n for n, word in enumerate(["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"])
}
_TEENS = {
    word: n
    for n, word in enumerate(
        ["ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"],
        10,
    )
}
_TENS = {
    word: 10 * n
    for n, word in enumerate(["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"], 2)
}
_POUNDS = frozenset({"pound", "pounds", "lb", "lbs", "libra", "libras"})
_WEIGHED = _POUNDS | {"ounce", "ounces", "oz", "onza", "onzas"}
_PRICED = frozenset({"dollars", "dollar", "bucks", "cents"})
SPOKEN = frozenset({*_ONES, *_TEENS, *_TENS, "point", "half", "pound"})
"""Words that begin a number, or stand in one; a note without any of them has no number in words."""


def spoken_numbers(atoms: list[Atom], places: list[int]) -> tuple[list[Atom], list[int]]:
    """Return the atoms with numbers in words joined to numbers, and the places of their chunks."""
    out: list[Atom] = []
    at: list[int] = []
    i = 0
    while i < len(atoms):
        value, after, decimals = _number(atoms, i)
        if after == i or (after == i + 1 and atoms[i].kind == NUMBER):
            out.append(atoms[i])
            at.append(places[i])
            i += 1
            continue
        end = places[after - 1] + atoms[after - 1].end - places[i]
        out.append(Atom(NUMBER, f"{value:g}", atoms[i].start, end, value, atoms[after - 1].unit, decimals))
        at.append(places[i])
        i = after
        if _text(atoms, i) in _POUNDS and _texts(atoms, i + 1, 3) == ("and", "a", "half"):
            out[-1] = Atom(NUMBER, out[-1].text, out[-1].start, out[-1].end, value + 0.5, None, decimals)
            out.append(Atom(WORD, atoms[i].text, atoms[i].start, places[i + 3] + atoms[i + 3].end - places[i]))
            at.append(places[i])
            i += 4
    return out, at


def _number(atoms: list[Atom], i: int) -> tuple[float, int, int]:
    """Return the number that begins at ``i``, the index after it (``i``: none begins there) and its decimals."""
    text = _text(atoms, i)
    if text == "half" and _texts(atoms, i + 1, 1) == ("a",) and _text(atoms, i + 2) in _POUNDS:
        return 0.5, i + 2, 1
    if text in {"a", "another"} and _text(atoms, i + 1) in _POUNDS:
        priced = i and (atoms[i - 1].kind == NUMBER or atoms[i - 1].text in _PRICED)
        return (0.0, i, 0) if priced else (1.0, i + 1, 0)
    if atoms[i].kind == NUMBER and atoms[i].unit is None and not atoms[i].decimals:
        whole, after = atoms[i].value, i + 1
    else:
        whole, after = _whole(atoms, i)
    digits = _digit(atoms, after + 1) if _text(atoms, after) == "point" else None
    if digits is not None:
        return whole + digits / 10, after + 2, 1
    if _texts(atoms, after, 3) == ("and", "a", "half") and after > i:
        return whole + 0.5, after + 3, 1
    if after == i + 1 and text == "one" and _text(atoms, after) not in _WEIGHED:
        return 0.0, i, 0
    return whole, after, 0


def _whole(atoms: list[Atom], i: int) -> tuple[float, int]:
    """Return the whole number in words at ``i``: ``ninety four``, ``one eighteen``, ``three hundred and fifty two``."""
    first = _ONES.get(_text(atoms, i))
    if first is None:
        return _below_hundred(atoms, i)
    at = i + 1
    if first and _text(atoms, at) == "hundred":
        at += 2 if _text(atoms, at + 1) == "and" and _below_hundred(atoms, at + 2)[1] > at + 2 else 1
        rest, after = _below_hundred(atoms, at)
        if after == at and (ones := _ONES.get(_text(atoms, at))):
            return first * 100.0 + ones, at + 1
        return first * 100.0 + rest, after
    if first and _text(atoms, at) == "oh" and (ones := _ONES.get(_text(atoms, at + 1))):
        return first * 100.0 + ones, at + 2
    rest, after = _below_hundred(atoms, at)
    return (first * 100.0 + rest, after) if first and after > at else (float(first), at)


def _below_hundred(atoms: list[Atom], i: int) -> tuple[float, int]:
    """Return the number from ten to ninety-nine at ``i``."""
    text = _text(atoms, i)
    if text in _TEENS:
        return float(_TEENS[text]), i + 1
    if text not in _TENS:
        return 0.0, i
    at = i + 2 if _text(atoms, i + 1) == "-" else i + 1
    ones = _ONES.get(_text(atoms, at), 0)
    return (float(_TENS[text] + ones), at + 1) if ones else (float(_TENS[text]), i + 1)


def _digit(atoms: list[Atom], i: int) -> float | None:
    if i < len(atoms) and atoms[i].kind == NUMBER and not atoms[i].decimals and atoms[i].value < 10:
        return atoms[i].value
    return _ONES.get(_text(atoms, i))


def _text(atoms: list[Atom], i: int) -> str:
    return atoms[i].text if 0 <= i < len(atoms) else ""


def _texts(atoms: list[Atom], i: int, count: int) -> tuple[str, ...]:
    return tuple(atom.text for atom in atoms[i : i + count])
