"""What the words of a note mean, from ``reference/notes_words.toml``; a long word with one slip still counts."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from importlib import resources
from typing import Any

from rapidfuzz.distance import OSA

OTHER_UNIT = "other"
SHORTEST_MISSPELT, TWO_SLIPS_FROM = 6, 9
"""A word of this many letters is recognised with one slip of the pen, a longer one with two."""


@dataclass(frozen=True, slots=True)
class Meaning:
    """Everything a phrase can say; a phrase may say several things, and its place decides which."""

    label: str | None = None
    role: str | None = None
    unit: str | None = None
    weight: str | None = None
    joint: str | None = None
    mark: tuple[str, str] | None = None
    filler: bool = False
    other_part: bool = False


@dataclass(frozen=True)
class Label:
    """What the number beside a label is: a capacitor section, or a field by the number's unit."""

    section: str | None
    fields: Mapping[str, str]


@dataclass(frozen=True)
class Lexicon:
    """Phrases by their words, what begins a longer one, labels by name, and the refrigerants' numbers."""

    phrases: Mapping[tuple[str, ...], Meaning]
    singles: Mapping[str, Meaning]
    longest: Mapping[str, int]
    seconds: Mapping[str, frozenset[str]]
    labels: Mapping[str, Label]
    refrigerants: frozenset[str]
    by_letter: Mapping[str, tuple[str, ...]]
    known: frozenset[str]


def reference(name: str) -> dict[str, Any]:
    """Return a shipped table of ``reference/``."""
    return tomllib.loads(resources.files("pipeline").joinpath(f"reference/{name}.toml").read_text("utf-8"))


@cache
def lexicon() -> Lexicon:
    """Return the shipped words."""
    raw = reference("notes_words")
    found: dict[tuple[str, ...], Meaning] = {}

    def put(words: Iterable[str], **meaning: Any) -> None:
        for phrase in words:
            key = tuple(phrase.split())
            found[key] = replace(found.get(key, Meaning()), **meaning)

    for name, label in raw["labels"].items():
        put(label["words"], label=name)
    for name, words in raw["units"].items():
        put(words, unit=name)
    for name, words in raw["roles"].items():
        put(words, role=name)
    for name in ("added", "recovered", "never", "not_refrigerant"):
        put(raw["weights"][name], weight=name)
    put(raw["weights"]["words"], weight="refrigerant")
    put(raw["fillers"]["words"], filler=True)
    put(raw["fillers"]["and"], joint="and")
    put(raw["fillers"]["over"], joint="over")
    put(raw["other_parts"]["words"], other_part=True)
    for family, places in raw["marks"].items():
        for place, words in places.items():
            put(words, mark=(family, place))
    longest: dict[str, int] = {}
    seconds: dict[str, set[str]] = {}
    for key in found:
        longest[key[0]] = max(longest.get(key[0], 1), len(key))
        if len(key) > 1:
            seconds.setdefault(key[0], set()).add(key[1])
    seen = reference("notes_observations")
    signs = [word for rule in seen["observations"].values() for word in (*rule["signs"], *rule.get("things", ()))]
    words = {word for key in found for word in key} | _single(signs)
    known = words | _single([*raw["not_misspelt"]["words"], *seen["negation"]["words"], *seen["unsure"]["words"]])
    long_words = sorted(word for word in words if len(word) >= SHORTEST_MISSPELT and word.isascii() and word.isalpha())
    by_letter: dict[str, tuple[str, ...]] = {}
    for word in long_words:
        by_letter[word[0]] = (*by_letter.get(word[0], ()), word)
    return Lexicon(
        phrases=found,
        singles={key[0]: meaning for key, meaning in found.items() if len(key) == 1},
        longest=longest,
        seconds={word: frozenset(after) for word, after in seconds.items()},
        labels={n: Label(v.get("section"), v.get("fields", {})) for n, v in raw["labels"].items()},
        refrigerants=frozenset(raw["weights"]["refrigerants"]),
        by_letter=by_letter,
        known=frozenset(known),
    )


def _single(phrases: Iterable[str]) -> set[str]:
    return {word for phrase in phrases for word in phrase.split()}


@lru_cache(maxsize=65536)
def spelt(word: str) -> str:
    """Return the known word that ``word`` (lower case) is a slip of, else ``word`` itself.

    Examples
    --------
    >>> spelt("superheet"), spelt("section")
    ('superheat', 'section')
    """
    words = lexicon()
    if len(word) < SHORTEST_MISSPELT or len(word) > 16 or word in words.known:
        return word
    allowed = 2 if len(word) >= TWO_SLIPS_FROM else 1
    near = [
        (distance, known)
        for known in words.by_letter.get(word[0], ())
        if abs(len(known) - len(word)) <= allowed
        and (distance := OSA.distance(word, known, score_cutoff=allowed)) <= allowed
    ]
    return min(near)[1] if near else word
