"""A header as somebody typed it, understood as a set of ideas and perhaps a unit.

``OD Temp (°F)``, ``aussen_temp_F`` and ``Außentemperatur`` all say {outdoor, temp}. The vocabulary is
``header_aliases.toml``; this module only folds, splits and looks up.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib import resources
from itertools import product
from typing import Any

from rapidfuzz import fuzz, process

from pipeline.units import UNITS, spelled_units

TRUST_COMPOUND, TRUST_SHORTENED, TRUST_TYPO = 0.97, 0.93, 0.9
"""How sure a word is when it was found by splitting, by its consonants or first letters, or in spite of a typing
error."""

TYPO_RATIO = 84.0
"""rapidfuzz ratio from which an unknown word of five letters or more counts as a typing error of a known one."""

LONGEST = 200
"""A longer header is a sentence, or a broken file."""

IDEA_OF_DIMENSION: Mapping[str, str] = {
    "temperature": "temp",
    "pressure": "pressure",
    "capacitance": "uf",
    "current": "amps",
    "voltage": "volts",
    "mass": "weight",
    "share": "percent",
    "time": "minutes",
    "length": "feet",
    "power": "tons",
    "flow": "cfm",
    "currency": "amount",
}
"""What a unit in a header says about the column."""

MIXED_CASE_UNITS = re.compile(r"(kPa|MPa|hPa|degF|degC|inWC|inH2O|inWc|[uµμnm]F|kW|mA|psi[AaGg]|MFDs|IDs)(?![a-z])")
CAMEL = re.compile(
    r"(?<=[a-zäöüßáéíóúñ])(?=[A-ZÄÖÜÁÉÍÓÚÑ])|(?<=[A-Z])(?=[A-Z][a-zäöüß]{2})|(?<=[A-Za-z])(?=\d)|(?<=\d)(?=[A-Za-z]{2})"
)
MARKS = {"#": " id ", "%": " pct ", "$": " usd ", "€": " eur "}
BRACKETED = re.compile(r"[(\[{<]([^()\[\]{}<>]*)[)\]}>]")
INITIALS = re.compile(r"\b(?:[a-z]\.){2,}(?:[a-z]\b)?")


@dataclass(frozen=True)
class Reading:
    """One way to understand a header.

    ``ideas`` are what the words say, ``units`` every unit a unit in it may stand for, ``strangers`` the words not
    known, ``trust`` how sure the words are, ``key`` the folded words without unit.
    """

    key: str
    ideas: frozenset[str]
    units: tuple[str, ...]
    strangers: tuple[str, ...]
    trust: float

    @property
    def unit_ideas(self) -> frozenset[str]:
        """What the unit alone says about the column."""
        return frozenset(IDEA_OF_DIMENSION[d] for d in self.dimensions if d in IDEA_OF_DIMENSION)

    @property
    def dimensions(self) -> frozenset[str]:
        """Dimensions of the units the header may name."""
        return frozenset(UNITS[unit].dimension for unit in self.units)


@cache
def vocabulary() -> Mapping[str, Any]:
    """Return ``header_aliases.toml`` as read."""
    return tomllib.loads(resources.files("pipeline.ingest").joinpath("header_aliases.toml").read_text("utf-8"))


@cache
def listed(name: str) -> frozenset[str]:
    """Return one of the plain word lists at the top of ``header_aliases.toml``."""
    return frozenset(vocabulary()[name].split())


@cache
def words() -> Mapping[str, tuple[frozenset[str], ...]]:
    """Return every known word with the sets of ideas it may stand for."""
    found: dict[str, list[frozenset[str]]] = {}
    for idea, spellings in vocabulary()["words"].items():
        for word in {idea, *spellings.split()}:
            found.setdefault(word, []).append(frozenset({idea}))
    for word, ideas in vocabulary()["abbreviations"].items():
        if not ideas.endswith("!"):
            found[word] = [frozenset(ideas.split())]
    return {word: tuple(ideas) for word, ideas in found.items()}


@lru_cache(maxsize=32768)
def fold(text: str) -> str:
    """Return the text in lower case without accents, joined writing (camelCase, R/A, C-H) split into words.

    >>> fold("ODTemp"), fold("Außentemp."), fold("Cap C-H")
    ('od temp', 'aussentemp', 'cap herm')
    """
    text = MIXED_CASE_UNITS.sub(lambda m: " " + m.group(0).lower() + " ", text)
    text = CAMEL.sub(" ", text.replace("µ", "u").replace("μ", "u").replace("∆", "Δ").replace("Δ", " delta "))
    text = re.sub(r"[°º]\s*([fckr])\b", r" deg\1 ", text, flags=re.IGNORECASE)
    text = unicodedata.normalize("NFKD", text).casefold()
    text = "".join(c for c in text if not unicodedata.combining(c))
    text = INITIALS.sub(lambda m: m.group(0).replace(".", ""), text.replace("_", " "))
    for pattern, replacement in _phrases():
        text = pattern.sub(replacement, text)
    for mark, word in MARKS.items():
        text = text.replace(mark, word)
    return " ".join(re.findall(r"[^\W_]+", text))


@lru_cache(maxsize=32768)
def squashed(text: str) -> str:
    """Return the text's letters and digits in lower case, and nothing between them; marks (#, %) as words."""
    for mark, word in MARKS.items():
        text = text.replace(mark, word)
    return "".join(re.findall(r"[^\W_]", text.casefold()))


def normalised(text: str) -> str:
    """Return a key under which two spellings of one header are equal: case, spacing, punctuation, accents ignored."""
    return fold(text).replace(" ", "")


@lru_cache(maxsize=4096)
def readings_of(header: str) -> tuple[Reading, ...]:
    """Return the ways to understand a header, the ones that take most of it as a unit first."""
    if len(header) > LONGEST:
        return ()
    inside = BRACKETED.findall(header)
    bare = BRACKETED.sub(" ", header)
    unit_brackets = [text for text in inside if spelled_units(text)]
    other = " ".join(text for text in inside if not spelled_units(text))
    units = spelled_units(unit_brackets[0]) if unit_brackets else ()
    full = f"{bare} {other}" if other else bare
    found: list[Reading] = []
    for text in dict.fromkeys((full, bare)):
        tokens = fold(text).split()
        if not units:
            rest, spelled = split_unit(tokens)
            if spelled:
                found += _understood(rest, spelled)
        found += _understood(tokens, units)
        if other and _known_ideas(fold(other).split()):
            break
    return tuple(dict.fromkeys(found))


def split_unit(tokens: list[str]) -> tuple[list[str], tuple[str, ...]]:
    """Return the words without the unit among them, and the units that one may stand for (none: empty)."""
    for length in (3, 2, 1):
        if len(tokens) > length or (length == 1 and tokens):
            tail = " ".join(tokens[-length:])
            if spelled := spelled_units(tail):
                return tokens[:-length], spelled
    for place, token in enumerate(tokens):
        if token in listed("units_anywhere"):
            return tokens[:place] + tokens[place + 1 :], spelled_units(token)
    return tokens, ()


def _understood(tokens: list[str], units: tuple[str, ...]) -> list[Reading]:
    alone = vocabulary()["abbreviations"].get(tokens[0] if len(tokens) == 1 else "", "")
    if alone.endswith("!"):
        return [Reading(tokens[0], frozenset(alone[:-1].split()), units, (), TRUST_COMPOUND)]
    choices: list[tuple[frozenset[str], ...]] = []
    strangers: list[str] = []
    trust = 1.0
    for token in tokens:
        if token in listed("stop"):
            continue
        ideas, sure = look_up(token)
        if ideas:
            choices.append(ideas)
            trust *= sure
        else:
            strangers.append(token)
    key = " ".join(tokens)
    combinations = [frozenset().union(*chosen) for chosen in product(*choices)][:8]
    return [Reading(key, ideas, units, tuple(strangers), trust) for ideas in combinations]


def _known_ideas(tokens: list[str]) -> bool:
    return any(look_up(token)[0] for token in tokens if token not in listed("stop"))


@lru_cache(maxsize=8192)
def look_up(token: str) -> tuple[tuple[frozenset[str], ...], float]:
    """Return the ideas a word may stand for and how sure that is; nothing for an unknown word."""
    known = words()
    for spelling in (token, re.sub("([aou])e", r"\1", token)):
        if spelling in known:
            return known[spelling], 1.0
        if spelling.endswith(("s", "n")) and spelling[:-1] in known and len(spelling) > 4:
            return known[spelling[:-1]], 1.0
    if token.isdigit():
        return (), 0.0
    for spelling in (token, re.sub("([aou])e", r"\1", token)):
        if (pieces := _compound(spelling)) is not None:
            return (frozenset().union(*(known[piece][0] for piece in pieces)),), TRUST_COMPOUND
    if (short := _shortened(token)) is not None:
        return (short,), TRUST_SHORTENED
    return _mistyped(token)


@lru_cache(maxsize=8192)
def _compound(token: str) -> tuple[str, ...] | None:
    """Return the fewest known words that make up a joined one (``saugdruck``, ``unitid``), None if none do."""
    known = words()
    best: list[tuple[str, ...] | None] = [()] + [None] * len(token)
    for end in range(3, len(token) + 1):
        for begin in range(max(0, end - 24), end - 1):
            before = best[begin]
            if before is None:
                continue
            piece = token[begin:end]
            for stem in (
                piece,
                piece.removesuffix("s"),
                piece.removesuffix("en"),
                piece.removesuffix("n"),
                piece.removesuffix("es"),
            ):
                short = stem in listed("endings") and (end == len(token) or begin == 0)
                if stem in known and (len(stem) >= 4 or short or (len(stem) == 3 and stem in listed("glued"))):
                    candidate = (*before, stem)
                    current = best[end]
                    if current is None or len(candidate) < len(current):
                        best[end] = candidate
                    break
        if end == 2 and token[:2] in listed("endings"):
            best[2] = (token[:2],)
    found = best[len(token)]
    return found if found is not None and len(found) > 1 else None


@cache
def _skeletons() -> Mapping[str, frozenset[frozenset[str]]]:
    found: dict[str, set[frozenset[str]]] = {}
    for word, ideas in words().items():
        if len(word) >= 5:
            found.setdefault(_skeleton(word), set()).update(ideas)
    return {key: frozenset(ideas) for key, ideas in found.items()}


def _skeleton(word: str) -> str:
    bones = word[0] + re.sub("[aeiouy]", "", word[1:])
    return re.sub(r"(.)\1+", r"\1", bones)


def _shortened(token: str) -> frozenset[str] | None:
    """Return the one idea that a word without vowels, or the beginning of a word, stands for."""
    if len(token) >= 3 and not re.search("[aeiou]", token[1:]):
        ideas = _skeletons().get(_skeleton(token), frozenset())
        if len(ideas) == 1:
            return next(iter(ideas))
    if len(token) >= 4:
        begun = {
            ideas
            for word, several in words().items()
            if len(word) > len(token) and word.startswith(token)
            for ideas in several
        }
        if len(begun) == 1:
            return next(iter(begun))
    return None


def _mistyped(token: str) -> tuple[tuple[frozenset[str], ...], float]:
    if len(token) < 5:
        return (), 0.0
    known = words()
    near = process.extract(
        token, [word for word in known if len(word) >= 5], scorer=fuzz.ratio, score_cutoff=TYPO_RATIO, limit=3
    )
    ideas = {known[word] for word, score, _ in near if score >= near[0][1] - 1}
    return (next(iter(ideas)), TRUST_TYPO) if len(ideas) == 1 else ((), 0.0)


@cache
def _phrases() -> tuple[tuple[re.Pattern[str], str], ...]:
    return tuple((re.compile(pattern), text) for pattern, text in vocabulary()["phrases"].items())
