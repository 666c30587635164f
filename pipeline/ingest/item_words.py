"""What a line of an invoice is about: a part fitted, refrigerant and how much, a cause, labor, or nothing of these."""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from typing import Any

from pipeline.fields import registry
from pipeline.ingest.words import LONGEST, fold_words

OUNCES: Mapping[str, float] = {"lb": 16.0, "oz": 1.0, "kg": 35.27396}
"""Ounces in one unit of weight (international pound of 453.59237 g, 1/16 of it)."""

HERM_FROM, FAN_TO = 20.0, 15.0
"""A pair whose one number is at least the first and the other at most the second is hermetic and fan section."""

LABOR, NOTHING, SUM = "labor", "nothing", "sum"

_PIECES = re.compile(r"[,;:|()\[\]\n]|\s[-–—]+\s|(?<=[a-z])/(?=[a-z])|\.(?=\s|$)")
_WORD = re.compile(r"[a-z]+(?:[0-9]+[a-z]*)?|[0-9]+(?:[.,][0-9]+)?[a-z]*")
_NAME = re.compile(r"r(?:22|32|12|1[0-9]{2}[a-z]?|4[0-9]{2}[a-z]?|5[0-9]{2}[a-z]?|290)|(?:410a?|407c|454b|404a|134a)")
_JOINED = (
    (re.compile(r"\br\s*-?\s*(\d{2,3}\s?[a-f]?)\b"), lambda m: " r" + m[1].replace(" ", "") + " "),
    (re.compile(r"\bt[- ]stat"), lambda _: "tstat"),
    (re.compile(r"\bp[- ]trap\b"), lambda _: "ptrap"),
    (re.compile(r"\ba[- ]coil\b"), lambda _: "acoil"),
    (re.compile(r"\b(?:4|four)[- ]?way\b"), lambda _: "fourway"),
    (re.compile(r"\btune[- ]up\b"), lambda _: "tuneup"),
    (re.compile(r"\bw/o?(?=[\s\d])"), lambda _: " with "),
    (re.compile(r"\bhard[- ]start"), lambda _: "hard start"),
)
_VOLTS = re.compile(r"[/x,\s-]*\b(330|370|440|450)(?:\s*/\s*(330|370|440|450))*\s*(?:v(?:ac|olts?)?\b)?")
_OTHER_UNITS = re.compile(
    r"\d+(?:[.,]\d+)?\s*(?:/\s*\d+\s*)?(?:v|vac|volts?|hz|hp|a|amps?|ph|p|rpm|in|inch|%|pk|pack|yrs?|years?|lbs?|oz|ton|tons|va|pole|wire|ft|w|mm)\b"
)
_CODES = re.compile(r"(?<![\w.])(?=[\w-]*[a-z][\w-]*\d|[\w-]*\d[\w-]*[a-z])(?!\d+(?:[.,]\d+)?(?:mfd|uf|mf)\b)[\w-]{4,}")
_PAIR = re.compile(r"(\d{1,3}(?:[.,]\d+)?)\s*(?:mfd|uf|mf)?\s*[/+&x-]\s*(\d{1,3}(?:[.,]\d+)?)(?![\d.,]*\s*[/x]\s*\d)")
_SINGLE = re.compile(r"(?<![\d.,/])(\d{1,3}(?:[.,]\d+)?)\s*(?:mfds?|ufd?|mf|microfarads?|mikrofarad)\b")
_BARE = re.compile(r"(?<![\w.,/-])(\d{1,3}(?:[.,]\d+)?)(?![\w.,/-]*[a-z\d])")
_AMOUNT = re.compile(
    r"(?:(\d+)\s+)?(\d+)/(\d+)\s*-?\s*(lb|oz|kg)|(\d*[.,]?\d+)\s*-?\s*(lb|oz|kg)(?:\s*,?\s*(?:and\s+)?(\d*[.,]?\d+)\s*oz)?"
)
_WEIGHTS = (
    (re.compile(r"(?<=[\d\s])#(?!\s*\d{3})|\b(?:lbs?|pounds?|libras?|pfund)\b\.?|(?<=\d)(?:lbs?|pounds?)\b"), " lb "),
    (re.compile(r"\b(?:ozs?|ounces?|onzas?|unzen?)\b\.?|(?<=\d)(?:ozs?|ounces?)\b"), " oz "),
    (re.compile(r"\b(?:kgs?|kilos?|kilograms?|kilogramm)\b|(?<=\d)kgs?\b"), " kg "),
)


@dataclass(frozen=True)
class Meaning:
    """What one text says.

    Attributes
    ----------
    part, cause
        A word of the contract, None where the line tells none.
    kind
        ``labor``, ``sum`` (of other lines), ``nothing`` (known to be no part), else None.
    labor_part
        The part that a labor line names.
    uf
        Section to rating [uF] of a run capacitor.
    volts
        Voltage class of a capacitor [V].
    ounces_each
        Refrigerant in one of the line's quantity [oz]; None where the text tells no weight.
    in_container
        The weight is that of a container, not of a charge.
    """

    part: str | None = None
    cause: str | None = None
    kind: str | None = None
    labor_part: str | None = None
    uf: Mapping[str, float] = field(default_factory=dict)
    volts: float | None = None
    ounces_each: float | None = None
    in_container: bool = False


@dataclass(frozen=True)
class _Rule:
    word: str
    heads: frozenset[str]
    groups: tuple[frozenset[str], ...]
    is_cause: bool
    weak: bool


@cache
def item_vocabulary() -> Mapping[str, Any]:
    """Return ``item_words.toml`` as read."""
    return tomllib.loads(resources.files("pipeline.reference").joinpath("item_words.toml").read_text("utf-8"))


def meaning_of(text: str, own: Mapping[str, str] | None = None) -> Meaning:
    """Return what an item text says.

    Parameters
    ----------
    text
        Text of one line.
    own
        The shop's own words, folded (``fold_words``), with the part they stand for (blank: no part); they count
        before everything else, whole or as words of the text.
    """
    plain = _plain(text[:LONGEST])
    told = _own(text[:LONGEST], own or {})
    if told == "":
        return Meaning(kind=NOTHING)
    pieces = [words for piece in _PIECES.split(plain) for words in _cut(_WORD.findall(piece)) if words]
    everything = [word for words in pieces for word in words]
    found = Meaning(part=told) if told else _judged(pieces, everything, plain)
    if found.part == "run_capacitor":
        uf, volts = _sizes(plain, everything)
        return Meaning(part=found.part, uf=uf, volts=volts)
    if found.part == "refrigerant":
        each, contained = _weight(plain)
        return Meaning(part=found.part, ounces_each=each, in_container=contained)
    if found.labor_part == "run_capacitor":
        uf, volts = _sizes(plain, everything)
        return Meaning(kind=LABOR, labor_part=found.labor_part, uf=uf, volts=volts)
    return found


def weight_unit(text: str) -> float | None:
    """Return the ounces in the unit of weight that a cell names (``lb``, ``oz``, ``kg``, ``#``), None for another."""
    plain = text.strip().casefold()
    if plain == "#":
        return OUNCES["lb"]
    for pattern, unit in _WEIGHTS:
        if pattern.fullmatch(plain):
            return OUNCES[unit.strip()]
    return None


def cause_of_part(part: str) -> str:
    """Return the cause a part stands for."""
    found: str = item_vocabulary()["cause_of"].get(part, part)
    return found


def cause_rank(cause: str) -> int:
    """Return the place of a part or cause in the order in which one of several is the one at fault."""
    order = item_vocabulary()["cause_order"]["parts"].split()
    return order.index(cause) if cause in order else len(order)


def _plain(text: str) -> str:
    low = unicodedata.normalize("NFKD", text.replace("µ", "u").replace("μ", "u").replace("ß", "ss")).casefold()
    low = "".join(c for c in low if not unicodedata.combining(c))
    for pattern, instead in _JOINED:
        low = pattern.sub(instead, low)
    return low


def _own(text: str, own: Mapping[str, str]) -> str | None:
    if not own:
        return None
    folded = fold_words(text)
    if folded in own:
        return own[folded]
    inside = [theirs for theirs in own if theirs and f" {theirs} " in f" {folded} "]
    return own[max(inside, key=len)] if inside else None


def _cut(words: list[str]) -> list[list[str]]:
    cuts = _listed("cuts", "words")
    out: list[list[str]] = [[]]
    for word in words:
        if word in cuts:
            out.append([])
        else:
            out[-1].append(word)
    return out


@cache
def _listed(table: str, name: str) -> frozenset[str]:
    return frozenset(item_vocabulary()[table][name].split())


@cache
def _rules() -> tuple[_Rule, ...]:
    rules = []
    for table in ("causes", "parts"):
        for word, texts in item_vocabulary()[table].items():
            for text in texts:
                first, *rest = (frozenset(group.split("/")) for group in text.split())
                weak = any(head.endswith("?") for head in first)
                heads = frozenset(head.rstrip("?") for head in first)
                rules.append(_Rule(word, heads, tuple(rest), table == "causes", weak))
    return tuple(rules)


@cache
def _heads(weak: bool) -> frozenset[str]:
    return frozenset().union(*(rule.heads for rule in _rules() if rule.weak is weak))


def _judged(pieces: list[list[str]], everything: list[str], plain: str) -> Meaning:
    words = frozenset(everything)
    if words & _listed("nothing", "anywhere"):
        return Meaning(kind=NOTHING)
    if everything and everything[0] in _listed("nothing", "sums"):
        return Meaning(kind=SUM)
    labor = False
    for piece in pieces:
        here = frozenset(piece)
        if here & _listed("nothing", "labor"):
            labor = True
        rule = _rule_of(piece, words, plain)
        if here & _listed("nothing", "piece") and not (rule and rule.is_cause):
            return Meaning(kind=NOTHING)
        if rule is not None:
            if labor:
                return Meaning(kind=LABOR, labor_part=None if rule.is_cause else rule.word)
            return Meaning(cause=rule.word) if rule.is_cause else Meaning(part=rule.word)
    names = {word for word in everything if _NAME.fullmatch(word)}
    rest = {word for word in words - names if not word[0].isdigit()}
    if names and not labor and rest <= _listed("neutral", "words") | _listed("nothing", "containers"):
        return Meaning(part="refrigerant")
    if _SINGLE.search(plain) and not labor:
        return Meaning(part="run_capacitor")
    return Meaning(kind=LABOR if labor else None)


def _rule_of(piece: list[str], words: frozenset[str], plain: str) -> _Rule | None:
    """Return the rule that the last head word of the piece meets; a size in uF makes a capacitor of it."""
    capacitors = next(rule.heads for rule in _rules() if rule.word == "run_capacitor")
    sized = bool(capacitors & set(piece)) and bool(_SINGLE.search(plain) or _PAIR.search(_VOLTS.sub(" ", plain)))
    strong = [word for word in piece if word in _heads(False) and (not sized or word in capacitors)]
    for weak, heads in ((False, strong), (True, [word for word in piece if word in _heads(True)])):
        for head in reversed(heads):
            met = [r for r in _rules() if r.weak is weak and head in r.heads and all(g & words for g in r.groups)]
            if met:
                return max(met, key=lambda rule: len(rule.groups))
    return None


def _sizes(plain: str, words: list[str]) -> tuple[dict[str, float], float | None]:
    """Return section to rating, and the voltage class, of a run capacitor's text."""
    volts = [float(v) for hit in _VOLTS.finditer(plain) for v in hit.groups() if v]
    text = _OTHER_UNITS.sub(" ", _CODES.sub(" ", _VOLTS.sub(" ", plain)))
    _, most_uf = registry()["visits"].fields["herm_uf"].bounds
    found: dict[str, float] = {}
    for hit in _PAIR.finditer(text):
        one, two = (_number(value) for value in hit.groups())
        herm, fan = max(one, two), min(one, two)
        if herm >= HERM_FROM and 0 < fan <= FAN_TO and herm <= most_uf:
            found = {"herm": herm, "fan": fan}
            break
    if not found:
        singles = [_number(hit[1]) for hit in _SINGLE.finditer(text)]
        bare = [_number(hit[1]) for hit in _BARE.finditer(text)]
        sizes = singles or (bare if len(bare) == 1 else [])
        if len(set(sizes)) == 1 and 0 < sizes[0] <= most_uf:
            found = {_section(sizes[0], words): sizes[0]}
    return found, max(volts, default=None)


def _section(size: float, words: list[str]) -> str:
    said = [name for name in ("blower", "fan", "herm") if _listed("sections", name) & set(words)]
    if len(said) == 1 or (said and said[0] == "blower"):
        return said[0]
    return "herm" if size >= HERM_FROM else "fan"


def _weight(plain: str) -> tuple[float | None, bool]:
    """Return the ounces that one of the line's quantity stands for, and whether that is a container's content."""
    text = re.sub(r"\br\d{2,3}[a-f]?\b|\b(?:410a?|407c|454b|404a|134a)\b", " ", plain)
    for pattern, unit in _WEIGHTS:
        text = pattern.sub(unit, text)
    contained = bool(set(_WORD.findall(plain)) & _listed("nothing", "containers"))
    hit = _AMOUNT.search(text)
    if hit is None:
        named = [unit for unit in ("lb", "oz", "kg") if re.search(rf"\b{unit}\b", text)]
        return (OUNCES[named[0]] if len(named) == 1 else None), contained
    if hit[3]:
        whole = float(hit[1] or 0)
        return ((whole + float(hit[2]) / float(hit[3])) * OUNCES[hit[4]] if float(hit[3]) else None), contained
    return _number(hit[5]) * OUNCES[hit[6]] + (_number(hit[7]) if hit[7] else 0.0), contained


def _number(text: str) -> float:
    return float(text.replace(",", "."))
