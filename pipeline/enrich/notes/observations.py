"""What a note says was seen: a sign beside its thing, unless it is negated, hearsay, a warning or of the past."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

from pipeline.enrich.notes.chunks import BREAK, COMMA
from pipeline.enrich.notes.items import JOINT, Item
from pipeline.enrich.notes.lexicon import reference
from pipeline.enrich.notes.sections import OBSERVATION, Said

NEGATION_REACH = 5
"""Words between a negation and the sign it denies, at most."""
THING_REACH = 6
"""Words between a sign and its thing, at most."""
LONGEST_SENTENCE = 60
"""Words after which a sentence without a full stop is taken to end."""


@dataclass(frozen=True)
class _Rule:
    name: str
    things: frozenset[str]
    not_things: frozenset[str]
    not_after: frozenset[str]
    advice_is_not: bool


@dataclass(frozen=True)
class _Words:
    signs: Mapping[tuple[str, ...], tuple[_Rule, ...]]
    first_words: frozenset[str]
    nouns: frozenset[str]
    negation: frozenset[str]
    negation_after: frozenset[str]
    unsure: frozenset[tuple[str, ...]]
    past: frozenset[tuple[str, ...]]
    doubting: frozenset[str]
    """First words of what makes a sentence unsure or of the past."""


class _Word(NamedTuple):
    text: str
    item: int
    clause: int
    sentence: int
    start: int
    end: int


@cache
def _words() -> _Words:
    raw = reference("notes_observations")
    signs: dict[tuple[str, ...], tuple[_Rule, ...]] = {}
    nouns = set(raw["nouns"]["other"])
    for name, given in raw["observations"].items():
        rule = _Rule(
            name,
            frozenset(given.get("things", ())),
            frozenset(given.get("not_things", ())),
            frozenset(given.get("not_after", ())),
            bool(given.get("advice_is_not", False)),
        )
        nouns |= rule.things
        for sign in given["signs"]:
            key = tuple(sign.split())
            signs[key] = (*signs.get(key, ()), rule)
    unsure, past = (frozenset(tuple(phrase.split()) for phrase in raw["unsure"][key]) for key in ("words", "past"))
    return _Words(
        signs=signs,
        first_words=frozenset(key[0] for key in signs),
        nouns=frozenset(nouns),
        negation=frozenset(raw["negation"]["words"]),
        negation_after=frozenset(raw["negation"]["after"]),
        unsure=unsure,
        past=past,
        doubting=frozenset({"unticked", *(phrase[0] for phrase in (*unsure, *past))}),
    )


def observed(items: list[Item]) -> list[tuple[Said, int, int, int]]:
    """Return what was seen, each with the index of its item and its place in the note; each thing seen once."""
    known = _words()
    first_words = known.first_words
    texts = [item.text for item in items]
    if first_words.isdisjoint(texts) and not any(" " in text and _any_of(text, first_words) for text in texts):
        return []
    words = _flat(items)
    doubts: dict[int, _Doubt] = {}
    seen: list[tuple[Said, int, int, int]] = []
    i = 0
    while i < len(words):
        size = _sign_at(words, i, known)
        if not size:
            i += 1
            continue
        key = tuple(word.text for word in words[i : i + size])
        for rule in known.signs[key]:
            place = _thing(words, i, size, rule, known)
            if place is None or _denied(words, i, size, known) or _unsure(words, items, i, rule, doubts):
                continue
            first, last = min(i, place), max(i + size - 1, place)
            seen.append((Said(OBSERVATION, rule.name), words[i].item, words[first].start, words[last].end))
        i += size
    return seen


def _any_of(text: str, words: frozenset[str]) -> bool:
    return not words.isdisjoint(text.split())


def _flat(items: list[Item]) -> list[_Word]:
    words: list[_Word] = []
    clause = sentence = begun = 0
    for i, item in enumerate(items):
        if item.kind == BREAK:
            sentence += 1
            clause += 1
            begun = len(words)
            if item.text == "[" and i + 1 < len(items) and items[i + 1].text == "]":
                words.append(_Word("unticked", i, clause, sentence + 1, item.start, item.end))
        elif item.kind == COMMA or (item.kind == JOINT and item.text == "-"):
            clause += 1
        elif item.kind == JOINT and item.text in {":", "/", "(", ")"}:
            continue
        else:
            if len(words) - begun >= LONGEST_SENTENCE:
                sentence += 1
                clause += 1
                begun = len(words)
            for text in item.text.split():
                words.append(_Word(text, i, clause, sentence, item.start, item.end))
    return words


def _sign_at(words: list[_Word], i: int, known: _Words) -> int:
    if words[i].text not in known.first_words:
        return 0
    for size in (3, 2, 1):
        stretch = words[i : i + size]
        spelled = tuple(word.text for word in stretch)
        if len(stretch) == size and spelled in known.signs and stretch[-1].sentence == stretch[0].sentence:
            return size
    return 0


def _thing(words: list[_Word], i: int, size: int, rule: _Rule, known: _Words) -> int | None:
    """Return the place of the thing the sign is said of, the sign's own where it needs none, None where none fits."""
    after = words[i + size].text if i + size < len(words) and words[i + size].sentence == words[i].sentence else ""
    if after in rule.not_after:
        return None
    if not rule.things:
        near = range(max(0, i - 2), min(len(words), i + size + 3))
        wrong = any(words[n].text in rule.not_things and words[n].clause == words[i].clause for n in near)
        return None if wrong else i
    nearest = _nearest_noun(words, i, size, known)
    return nearest if nearest is not None and words[nearest].text in rule.things else None


def _nearest_noun(words: list[_Word], i: int, size: int, known: _Words) -> int | None:
    """Return the noun a sign is said of: the nearest in its clause, else the last one before it in its sentence."""
    before = after = None
    for n in range(i - 1, max(-1, i - 1 - THING_REACH), -1):
        if words[n].clause != words[i].clause:
            break
        if words[n].text in known.nouns:
            before = n
            break
    for n in range(i + size, min(len(words), i + size + THING_REACH)):
        if words[n].clause != words[i].clause:
            break
        if words[n].text in known.nouns:
            after = _head(words, n, known)
            break
    if before is not None and after is not None:
        first_after = next(n for n in range(i + size, after + 1) if words[n].text in known.nouns)
        gap_before, gap_after = i - before, first_after - (i + size - 1)
        if gap_before == gap_after:
            own = words[before - 1].text if before else ""
            return after if own in known.first_words or own in {"clean", "new"} else before
        return before if gap_before < gap_after else after
    if before is not None or after is not None:
        return before if before is not None else after
    for n in range(i - 1, -1, -1):
        if words[n].sentence != words[i].sentence:
            return None
        if words[n].text in known.nouns:
            return n
    return None


def _head(words: list[_Word], n: int, known: _Words) -> int:
    """Return the last of nouns in a row: in ``dirty condenser fan`` it is the fan that is dirty."""
    while n + 1 < len(words) and words[n + 1].clause == words[n].clause and words[n + 1].text in known.nouns:
        n += 1
    return n


def _denied(words: list[_Word], i: int, size: int, known: _Words) -> bool:
    for n in range(i - 1, max(-1, i - 1 - NEGATION_REACH), -1):
        if words[n].clause != words[i].clause or words[n].text in {"but", "just", "only"}:
            break
        if words[n].text in known.negation:
            return True
    at = i + size
    if " ".join(word.text for word in words[at : at + 2]) in known.negation_after:
        return True
    if at < len(words) and words[at].text in known.negation_after and words[at].sentence == words[i].sentence:
        alone = at + 1 >= len(words) or words[at + 1].clause != words[at].clause
        if alone or words[at].text == "none":
            return True
    starts = i == 0 or words[i - 1].clause != words[i].clause or words[i - 1].text in {"or", "nor"}
    if starts and i and words[i - 1].sentence == words[i].sentence:
        first = i - 1
        while first and words[first - 1].clause == words[i - 1].clause:
            first -= 1
        return words[first].text in known.negation
    return False


class _Doubt(NamedTuple):
    """From which word on a sentence is a warning or hearsay, and the clauses in which something is advised."""

    unsure_from: int
    advised: frozenset[int]


def _unsure(words: list[_Word], items: list[Item], i: int, rule: _Rule, doubts: dict[int, _Doubt]) -> bool:
    """Whether the sentence warns, repeats what a customer said, speaks of the past, or advises what is not there."""
    sentence = words[i].sentence
    if sentence not in doubts:
        doubts[sentence] = _doubt(words, items, i)
    doubt = doubts[sentence]
    return doubt.unsure_from < i or (rule.advice_is_not and words[i].clause in doubt.advised)


def _doubt(words: list[_Word], items: list[Item], i: int) -> _Doubt:
    known = _words()
    first = last = i
    while first and words[first - 1].sentence == words[i].sentence:
        first -= 1
    while last < len(words) and words[last].sentence == words[i].sentence:
        last += 1
    unsure_from = len(words)
    for n in range(first, last):
        if words[n].text not in known.doubting:
            continue
        for size in (1, 2, 3):
            phrase = tuple(word.text for word in words[n : n + size])
            if phrase in known.past or phrase == ("unticked",):
                unsure_from = -1
            elif phrase in known.unsure:
                unsure_from = min(unsure_from, n)
    return _Doubt(unsure_from, _advised(words[first:last], items))


def _advised(words: list[_Word], items: list[Item]) -> frozenset[int]:
    """Return the clauses of a sentence in which something is advised, up to one that says what was done."""
    clauses: set[int] = set()
    advised = False
    for word in words:
        role = items[word.item].meaning.role
        if role in {"advised", "fitted"}:
            advised = role == "advised"
        if advised:
            clauses.add(word.clause)
        elif role == "fitted":
            clauses.discard(word.clause)
    return frozenset(clauses)
