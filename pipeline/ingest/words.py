"""Word values: what the shop wrote to the words of the contract."""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Mapping
from functools import cache, lru_cache
from importlib import resources
from typing import Any

from rapidfuzz import fuzz, process

from pipeline.fields import Field

NEAR = 60.0
"""rapidfuzz ratio from which a word is shown as a near miss; it is never taken for the word."""

LONGEST = 400
"""A longer cell is no word and no list of words; it is not even folded."""

PIECES = re.compile(r"\s+[-\u2013\u2014]+\s+|\s*[:;,/()+\n]\s*")
"""What stands between the pieces of a phrase."""

SEPARATORS = re.compile(r"\s*[;,|/\n]\s*")


@cache
def _spec() -> Mapping[str, Any]:
    return tomllib.loads(resources.files("pipeline.ingest").joinpath("value_words.toml").read_text("utf-8"))


@lru_cache(maxsize=65536)
def fold_words(text: str) -> str:
    """Return the text in lower case, without accents, with single spaces for all punctuation."""
    plain = unicodedata.normalize("NFKD", text.replace("µ", "u")).casefold()
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    return " ".join(re.findall(r"[^\W_]+|[✓✔]", plain))


@cache
def spellings(field: Field) -> Mapping[str, str]:
    """Return every folded spelling of the field's words with the word it stands for."""
    sets = [_spec()["fields"].get(field.name, "")]
    if field.name in ("part", "item"):
        sets.append("part_only")
    found: dict[str, str] = {}
    for name in sets:
        for word, texts in _spec()["words"].get(name, {}).items():
            if not field.allowed or word in field.allowed:
                for text in texts.split(";"):
                    found[fold_words(text)] = word
    for word in field.allowed:
        found[fold_words(word)] = word
    return found


@cache
def _joined(field: Field) -> Mapping[str, str]:
    return {text.replace(" ", ""): word for text, word in spellings(field).items()}


def word_for(text: str, field: Field) -> str | None:
    """Return the field's word that ``text`` is a known spelling of, None if it is none."""
    if len(text) > LONGEST:
        return None
    return _spelled(text, field) or (_told_in_pieces(text, field) if field.name in _spec()["qualifiers"] else None)


def _spelled(text: str, field: Field) -> str | None:
    folded = fold_words(text)
    return spellings(field).get(folded) or _joined(field).get(folded.replace(" ", "")) or None


def _told_in_pieces(text: str, field: Field) -> str | None:
    """Return the word that a phrase of several pieces tells (``Diagnostic - no cooling``, ``Repair: capacitor``).

    Every piece must be known: a word of the field, a word that says nothing more, or the component it was about.
    """
    told: list[str] = []
    of_component = False
    for piece in PIECES.split(text):
        word = _spelled(piece, field) or _without_qualifiers(piece, field)
        if word:
            told.append(word)
        elif fold_words(piece) in _components():
            of_component = True
        elif word is None:
            return None
    found = list(dict.fromkeys(told))
    for rule in _spec()["outranks"][field.name].split(";"):
        first, second = rule.split()
        if first in found and second in found:
            found.remove(second)
    return found[0] if len(found) == 1 and not (of_component and found[0] == "install") else None


def _without_qualifiers(text: str, field: Field) -> str | None:
    """Return the word that is left without words that say nothing more: "" where nothing is left, None if neither."""
    left = fold_words(text).split()
    for dropped in _spec()["qualifiers"][field.name]:
        left = [word for word in left if word not in dropped.split()]
        if not left:
            return ""
        if word := _spelled(" ".join(left), field):
            return word
    return None


@cache
def _components() -> frozenset[str]:
    spelled = _spec()["words"]["component"].items()
    return frozenset(fold_words(text) for word, texts in spelled for text in [word, *texts.split(";")])


def words_for(text: str, field: Field, own: Mapping[str, str]) -> tuple[str | None, tuple[str, ...]]:
    """Return the words of a list joined by ``; `` (None if none is known), and the parts of it that are unknown.

    ``own`` are the shop's own words as ``own_words`` folds them.
    """
    if len(text) > LONGEST:
        return None, (text,)
    known: list[str] = []
    strange: list[str] = []
    if is_blank(text) and not _word(text, field, own):
        return None, ()
    for piece in [text] if _word(text, field, own) else SEPARATORS.split(text.strip()):
        word = _word(piece, field, own)
        if word:
            known.append(word)
        elif piece and not is_blank(piece):
            strange.append(piece)
    return "; ".join(dict.fromkeys(known)) or None, tuple(strange)


def _word(text: str, field: Field, own: Mapping[str, str]) -> str | None:
    return own.get(fold_words(text)) or word_for(text, field)


def own_words(own: Mapping[str, str]) -> Mapping[str, str]:
    """Return the shop's own words folded."""
    return {fold_words(theirs): ours for theirs, ours in own.items()}


def near_words(text: str, field: Field) -> tuple[str, ...]:
    """Return up to three words of the field whose spellings are near ``text``, nearest first."""
    folded = fold_words(text[:LONGEST])
    near = process.extract(folded, list(spellings(field)), scorer=fuzz.WRatio, score_cutoff=NEAR, limit=12)
    return tuple(dict.fromkeys(spellings(field)[hit] for hit, _, _ in near))[:3]


@cache
def blanks(kind: str) -> frozenset[str]:
    """Return what stands for an empty cell in a field of this kind, in lower case."""
    anywhere = _texts(_spec()["blank"]["anywhere"])
    return anywhere if kind == "text" else anywhere | _texts(_spec()["blank"]["not_in_text"])


def is_blank(text: str, kind: str = "word") -> bool:
    """Return whether the cell says that nothing was written."""
    return text.strip().casefold() in blanks(kind)


@cache
def number_words(name: str) -> frozenset[str]:
    """Return the words that stand for a number: ``open`` (a reading of 0) or ``none`` (no such section)."""
    return _texts(_spec()["numbers"][name])


def _texts(joined: str) -> frozenset[str]:
    return frozenset(text.strip() for text in joined.split(";"))
