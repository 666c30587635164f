"""Header against field: which fields a header may mean, how sure that is, and why."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache, lru_cache

from pipeline.fields import Field, fields_for_file, registry
from pipeline.ingest.headers import BRACKETED, IDEA_OF_DIMENSION, Reading, listed, readings_of, squashed, vocabulary
from pipeline.units import UNITS, dimension_of

CONFIDENT = 0.8
"""A header is used without being told only from this confidence on; below it is proposed and left to the user."""

STRANGER = 0.7
"""Factor for each word of a header that is not known."""

GUEST = 0.999
"""Factor for a field that belongs to another table than the file's: breaks ties for the file's own."""


UNSAID_RATING = 0.9
"""Factor for a rating in a file of visits whose header does not say so: a reading is likelier there."""

EXTRA_IDEAS = {
    "capacitance": frozenset({"cap", "motor"}),
    "time": frozenset({"years", "time"}),
    "mass": frozenset({"quantity", "amount"}),
    "current": frozenset({"motor"}),
}
"""What else the header of a number of this dimension may say without meaning more."""

ALWAYS = frozenset({"side", "lead", "assigned", "unit", "system"})
"""What the header of any reading may say without meaning more: compressor side, drawn by, system pressure."""

OTHER = 0.75
"""Factor for what else a header may mean that is the very name of a field."""


@dataclass(frozen=True)
class Pattern:
    """Ideas a header must have (one of each group) and may have, and how sure it then is."""

    required: tuple[frozenset[str], ...]
    allowed: frozenset[str]
    weight: float


@dataclass(frozen=True)
class Candidate:
    """One field that a header may mean."""

    field: str
    confidence: float
    how: str
    unit: str | None = None


@lru_cache(maxsize=8192)
def candidates(header: str, table: str) -> tuple[Candidate, ...]:
    """Return the fields of a file of ``table`` that ``header`` may mean, surest first; ties in registry order.

    ``how`` is ``exact`` (the field's own name), ``words``, ``unit_bracket`` (words with a unit in the header) or
    ``near``.
    """
    best: dict[str, Candidate] = {}
    exact = False
    for field in fields_for_file(table).values():
        found = [_candidate(reading, field, table) for reading in readings_of(header)]
        sure = [candidate for candidate in found if candidate is not None]
        if own_name(header, field):
            unit = next((c.unit for c in sure if c.unit), None)
            best[field.name] = Candidate(field.name, 1.0 if field.table == table else GUEST, "exact", unit)
            exact = True
        elif sure:
            best[field.name] = max(sure, key=lambda candidate: candidate.confidence)
    if exact:
        best = {
            name: c if c.how == "exact" else replace(c, confidence=round(c.confidence * OTHER, 4))
            for name, c in best.items()
        }
    return tuple(sorted(best.values(), key=lambda candidate: -candidate.confidence))


def own_name(header: str, field: Field) -> bool:
    """Return whether the header is the field's own name, whatever its case, spacing and unit in brackets."""
    return field.name.replace("_", "") in (squashed(header), squashed(BRACKETED.sub("", header)))


def _candidate(reading: Reading, field: Field, table: str) -> Candidate | None:
    unit: str | None = None
    if reading.units:
        unit = next((name for name in reading.units if UNITS[name].dimension == dimension_of(field)), None)
        if unit is None or not field.is_numeric:
            return None
    if not reading.ideas and unit != field.unit:
        return None  # kW alone may be any power, tons alone is a size
    said = reading.ideas | (reading.unit_ideas if unit else frozenset())
    weight = max((p.weight for p in patterns(field.table, field.name) if _fits(reading.ideas, said, p)), default=0.0)
    if not weight:
        return None
    confidence = weight * reading.trust * STRANGER ** len(reading.strangers)
    if field.kind == "rating" and field.table != table and not reading.ideas & {"rated", "size"}:
        confidence *= UNSAID_RATING
    how = "near" if reading.trust < 0.95 or reading.strangers else "unit_bracket" if unit else "words"
    return Candidate(field.name, round(confidence * (1.0 if field.table == table else GUEST), 4), how, unit)


def _fits(ideas: frozenset[str], said: frozenset[str], pattern: Pattern) -> bool:
    return all(group & said for group in pattern.required) and ideas <= pattern.allowed


@cache
def patterns(table: str, field: str) -> tuple[Pattern, ...]:
    """Return the patterns of one field of one table."""
    spec = registry()[table].fields[field]
    own = _own_ideas(spec) | listed("noise")
    return tuple(_pattern(text, own) for text in vocabulary()["fields"].get(table, {}).get(field, ()))


def _own_ideas(field: Field) -> frozenset[str]:
    if field.kind == "date":
        return frozenset({"date"})
    dimension = dimension_of(field)
    if dimension is None:
        return frozenset()
    extra = EXTRA_IDEAS.get(dimension, frozenset())
    always = ALWAYS if field.table == "visits" else frozenset()
    return frozenset({IDEA_OF_DIMENSION.get(dimension, dimension)}) | extra | always


def _pattern(text: str, own: frozenset[str]) -> Pattern:
    required: list[frozenset[str]] = []
    optional: set[str] = set()
    weight = 1.0
    for token in text.split():
        if token.startswith("@"):
            weight = float(token[1:])
        elif token.endswith("?"):
            optional |= set(token[:-1].split("/"))
        else:
            required.append(frozenset(token.split("/")))
    return Pattern(tuple(required), frozenset().union(*required) | optional | own, weight)
