"""One piece of a note without white space in it, taken apart into numbers, words and signs.

Codes (part numbers, telephone numbers, dates, times, prices, sizes) are told here by how they are glued together.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import NamedTuple

from pipeline.enrich.notes.lexicon import OTHER_UNIT, lexicon, spelt

WORD, NUMBER, JUNK, SIGN, COMMA, BREAK, HASH = "word", "number", "junk", "sign", "comma", "break", "hash"
STOPS = frozenset({BREAK, COMMA})
"""What ends a clause."""
SPELLED = frozenset({WORD, JUNK})
_AFTER = frozenset({SIGN, HASH, BREAK})
MOST_DECIMALS = 2
LONGEST_CHUNK = 2000
"""A longer run of characters without white space is no writing; it is passed over."""

# Each alternative begins with characters that no other begins with, so that nothing is tried twice.
_PIECES = re.compile(r"(\d{1,3}(?:,\d{3})+(?!\d)|\d+(?:\.\d+)?|\.\d+)|([^\W\d_]+(?:['’][^\W\d_]+)?)|(.)", re.DOTALL)
_SPELT_OUT = re.compile(r"(?:[A-Za-z]\.){2,4}[:,]?$|[A-Za-z](?:\.[A-Za-z]){1,3}[:,]?$")
_MIXED = re.compile(r"(\d)-(\d)/(\d{1,2})$")
_WITH_VOLTS = re.compile(r"(\d+(?:\.\d+)?/\d+(?:\.\d+)?)/(?:330|370|440)(?:v|vac)?$", re.IGNORECASE)
"""A capacitor's size with its voltage class behind it: ``40/5/440``."""
_BREAKS = frozenset(".;|!?[]{}•*·_\\")
_SIGNS = frozenset("/:-+@()=&")
_ABBREVIATED = frozenset({
    "temp", "amb", "liq", "suct", "suc", "ret", "sup", "supp", "approx", "no", "evap", "cond", "w", "pres",
    "press", "deg", "vs", "oz", "lb", "lbs", "subc", "rec", "inst", "repl",
})  # fmt: skip
_DASHES = str.maketrans(dict.fromkeys("–—−‐‑", "-") | dict.fromkeys("″”“", '"') | {"’": "'", "º": "°", "˚": "°"})
ARROWS = frozenset(">→⇒")
"""Between two numbers they say that the second came after the first."""
_QUOTES = frozenset("\"'")


class Atom(NamedTuple):
    """A number, a word, a sign or a break, with its place in the chunk."""

    kind: str
    text: str
    start: int
    end: int
    value: float = 0.0
    unit: str | None = None
    decimals: int = 0


@lru_cache(maxsize=65536)
def atoms_of(chunk: str) -> tuple[Atom, ...]:
    """Return the atoms of a chunk, words in lower case with slips of the pen mended."""
    if len(chunk) > LONGEST_CHUNK:
        return (Atom(JUNK, "", 0, len(chunk)),)
    text = chunk.translate(_DASHES)
    if "." in text and _SPELT_OUT.match(text):
        return (Atom(WORD, text.rstrip(":,").replace(".", "").lower(), 0, len(text)),)
    atoms: list[Atom] = []
    run: list[Atom] = []
    mixed = _MIXED.match(text)
    if mixed is not None:
        whole, part, parts = (float(group) for group in mixed.groups())
        return (Atom(NUMBER, text, 0, len(text), whole + part / max(parts, 1.0)),)
    if text.count("/") == 2 and (sized := _WITH_VOLTS.match(text)):
        text = sized.group(1)
    for match in _PIECES.finditer(text):
        start, end = match.span()
        piece = match.group()
        if match.lastindex == 1:
            run.append(_number(piece, start, end))
            continue
        if match.lastindex == 2:
            run.append(Atom(WORD, piece.lower().replace("'", ""), start, end))
            continue
        if run:
            atoms += _glued(run)
            run = []
        atoms.append(_sign(piece, start, end))
    if run:
        atoms += _glued(run)
    return tuple(_codes(atoms)) if len(atoms) > 1 else tuple(atoms)


def number_of(chunk: str) -> Atom:
    """Return the number that a chunk of digits alone is."""
    return _number(chunk, 0, len(chunk))


def _number(piece: str, start: int, end: int) -> Atom:
    plain = piece.replace(",", "")
    decimals = len(plain) - plain.index(".") - 1 if "." in plain else 0
    if decimals > MOST_DECIMALS or len(plain) > 7:
        return Atom(JUNK, piece, start, end)
    return Atom(NUMBER, piece, start, end, float(plain), None, decimals)


def _sign(piece: str, start: int, end: int) -> Atom:
    if piece == "," or piece in _BREAKS:
        return Atom(COMMA if piece == "," else BREAK, piece, start, end)
    return Atom(HASH if piece == "#" else SIGN, ":" if piece == "=" else piece, start, end)


def _glued(run: list[Atom]) -> list[Atom]:
    """Return what letters and digits written together are: a number and its unit or label, or a code."""
    kinds = "".join("n" if a.kind == NUMBER else "w" if a.kind == WORD else "x" for a in run)
    if kinds == "w":
        word = run[0]
        return [Atom(WORD, spelt(word.text), word.start, word.end)]
    if kinds == "n":
        return run
    words = lexicon()
    if kinds == "nw":
        number, word = run
        meaning = words.phrases.get((word.text,))
        if word.text in {"st", "nd", "rd", "th"}:
            return [Atom(WORD, number.text + word.text, number.start, word.end)]
        if f"{number.text}{word.text}" in words.refrigerants:
            return [Atom(NUMBER, number.text, number.start, word.end, number.value, "refrigerant")]
        if meaning is not None and meaning.unit not in {None, OTHER_UNIT}:
            return [Atom(NUMBER, number.text, number.start, word.end, number.value, meaning.unit, number.decimals)]
        if meaning is not None and meaning.unit is None and (meaning.label or meaning.role):
            return [number, word]
    elif kinds in {"wn", "wnw"} and run[0].text == "r" and _joined(run[1:]) in words.refrigerants:
        return [Atom(NUMBER, run[1].text, run[0].start, run[-1].end, run[1].value, "refrigerant")]
    elif kinds in {"wn", "wnw"}:
        word, number = run[:2]
        meaning = words.phrases.get((word.text,))
        letter = len(word.text) == 1 and not number.decimals
        if meaning is not None and not letter and (meaning.label or meaning.role):
            return [Atom(WORD, word.text, word.start, word.end), *_glued(run[1:])]
        if kinds == "wn" and word.text in {"unit", "sys", "system", "ac"} and number.value < 10:
            return [word, number]
    elif kinds == "nwnw" and all(_unit(run[i]) in {"lb", "oz"} for i in (1, 3)):
        return [*_glued(run[:2]), *_glued(run[2:])]
    return [Atom(JUNK, _joined(run), run[0].start, run[-1].end)]


def _unit(word: Atom) -> str | None:
    meaning = lexicon().phrases.get((word.text,))
    return meaning.unit if meaning else None


def _joined(run: list[Atom]) -> str:
    return "".join(atom.text for atom in run)


def _codes(atoms: list[Atom]) -> list[Atom]:
    """Mend what only the signs between tell: units written as signs, abbreviations, and numbers that are codes."""
    out: list[Atom] = []
    spoilt = {i for i, atom in enumerate(atoms) if atom.kind == NUMBER and _is_code(atoms, i)}
    skip = -1
    for i, atom in enumerate(atoms):
        if i <= skip:
            continue
        after = atoms[i + 1].text if i + 1 < len(atoms) and atoms[i + 1].kind in _AFTER else ""
        if atom.kind == NUMBER and i > 1 and atoms[i - 2].text == "r" and atom.text in lexicon().refrigerants:
            del out[-2:]
            out.append(Atom(NUMBER, atom.text, atoms[i - 2].start, atom.end, atom.value, "refrigerant"))
        elif i in spoilt:
            out.append(Atom(JUNK, atom.text, atom.start, atom.end))
        elif atom.kind == NUMBER and atom.unit is None and after == "*" and i + 2 < len(atoms):
            out.append(atom)
        elif atom.kind == NUMBER and atom.unit is None and after and after in "°%#*\"'":
            unit, skip = _signed_unit(atoms, i)
            out.append(Atom(NUMBER, atom.text, atom.start, atoms[skip].end, atom.value, unit, atom.decimals))
        elif atom.kind == BREAK and atom.text == "." and i and atoms[i - 1].text in _ABBREVIATED:
            continue
        elif atom.text == "/" and i and atoms[i - 1].text == "w":
            continue  # "w/" is "with"
        elif atom.kind == SIGN and atom.text not in _SIGNS:
            if atom.text == ">" and i and atoms[i - 1].text in "-:":
                out[-1] = Atom(WORD, "now", atoms[i - 1].start, atom.end)
            elif atom.text in ARROWS and _between_numbers(atoms, i):
                out.append(Atom(WORD, "now", atom.start, atom.end))
            elif atom.text not in "~°%<>≈" and atom.text not in _QUOTES:
                out.append(Atom(JUNK, atom.text, atom.start, atom.end))
        else:
            out.append(atom)
    return out


def _between_numbers(atoms: list[Atom], i: int) -> bool:
    return 0 < i < len(atoms) - 1 and atoms[i - 1].kind == atoms[i + 1].kind == NUMBER


def _signed_unit(atoms: list[Atom], i: int) -> tuple[str, int]:
    """Return the unit of the sign after number ``i`` and the index of its last atom."""
    sign = atoms[i + 1].text
    if sign in "°*":
        letter = atoms[i + 2] if i + 2 < len(atoms) and atoms[i + 2].kind == WORD else None
        if letter is None or letter.text not in {"f", "c"}:
            return "degF", i + 1
        return ("degF" if letter.text == "f" else OTHER_UNIT), i + 2
    return {"%": "pct", "#": "lb", '"': "inH2O", "'": OTHER_UNIT}[sign], i + 1


def _is_code(atoms: list[Atom], i: int) -> bool:
    """Whether the number is part of a telephone number, date, time, price, range, size or part number."""
    before = atoms[i - 1] if i else None
    two_before = atoms[i - 2] if i > 1 else None
    after = atoms[i + 1] if i + 1 < len(atoms) else None
    two_after = atoms[i + 2] if i + 2 < len(atoms) else None
    if (before is not None and before.kind == JUNK) or (after is not None and after.kind == JUNK):
        return True
    if before is not None and before.kind in {SIGN, COMMA}:
        if before.text in "$<" or (before.text == ">" and not _between_numbers(atoms, i - 1)):
            return True
        if before.text == "-" and two_before is None:
            return True
        if two_before is not None and before.text in "-:/" and two_before.kind == JUNK:
            return True
        if two_before is not None and before.text in "-:" and two_before.kind == NUMBER and two_before.unit is None:
            return True
        if two_before is not None and before.text == "-" and two_before.kind == WORD and not _says(two_before.text):
            return True
    if after is not None and after.kind == SIGN and two_after is not None:
        if after.text in "-:" and two_after.kind == NUMBER and atoms[i].unit is None:
            return True
        if after.text in "-/" and two_after.kind == JUNK:
            return True
        if after.text == "-" and two_after.kind == WORD and not _says(two_after.text):
            return True
    return _in_chain(atoms, i) or _priced(atoms, i)


def _says(word: str) -> bool:
    meaning = lexicon().phrases.get((word,))
    return meaning is not None and bool(meaning.label or meaning.role or meaning.unit or meaning.mark)


def _in_chain(atoms: list[Atom], i: int) -> bool:
    """Whether the number stands in a chain of three or more joined by slashes: a date."""

    def linked(at: int, step: int) -> int:
        links = 0
        while links < 2 and 0 <= at + 2 * step < len(atoms) and atoms[at + step].text == "/":
            if atoms[at + 2 * step].kind != NUMBER:
                break
            at, links = at + 2 * step, links + 1
        return links

    return linked(i, 1) + linked(i, -1) >= 2


def _priced(atoms: list[Atom], i: int) -> bool:
    """Whether the number is the second of a pair that begins with a currency sign."""
    return i > 2 and atoms[i - 1].text == "/" and atoms[i - 2].kind == NUMBER and atoms[i - 3].text == "$"
