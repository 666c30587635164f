"""Labels, numbers and signs of one stretch: how they are walked over, and what a note has said so far."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

from pipeline.enrich.notes.chunks import NUMBER
from pipeline.enrich.notes.items import JOINT, LABEL, OTHER, Item
from pipeline.enrich.notes.lexicon import Label, lexicon
from pipeline.enrich.notes.limits import limits
from pipeline.enrich.notes.sections import READING, Group, Said, is_herm_and_fan

NUMBER_LEFT, FIRST_NUMBER_LEFT, LED_IN_LEFT, LABEL_LEFT, CONTEXT_LEFT = 1.2, 2.0, 1.0, 1.0, 0.3
NUMBER_FIRST, BARE, REFUSED = 0.1, 0.2, 0.3
"""What it costs to leave an element over, to read a number before its label or without one, or to refuse a pairing."""
MOST_GROUPS = 3
LETTERS = frozenset({"herm_letter", "fan_letter"})
LEAST_UNLABELLED_UF = 2.5
"""A number below this beside "fan" or "blower", without a unit, may be amps."""
NOUNS = frozenset({
    "fan", "cap", "compressor", "blower", "return", "supply", "outdoor", "liquid", "suction", "fan_motor",
    "condenser_fan", "superheat", "subcooling",
})  # fmt: skip


@dataclass(slots=True)
class Context:
    """What the note has said so far, or says elsewhere, that decides what a number is."""

    refrigerant: str | None
    speaks_of_capacitors: bool
    speaks_of_amps: bool
    both_letters: bool
    amps: bool = False
    line_temps: bool = False
    last_section: str | None = None
    fitted: tuple[float, ...] = ()
    found: dict[str, float] = field(default_factory=dict)
    """Sections read in this sentence."""
    led_in: bool = False
    """Whether a word of unknown meaning stands right before the stretch: its first number may be that word's."""
    priced: bool = False
    """Whether a price follows the stretch: then a size is a part on offer."""


class Choice(NamedTuple):
    """One way to use the elements up to ``end``: what it leaves over as cost, and what is said."""

    end: int
    cost: float
    said: tuple[Said, ...] = ()
    start: int = -1
    """First element that belongs to what is said; -1: the one the choice begins at."""


def sequences(els: list[Item], at: int) -> Iterator[tuple[tuple[Group, ...], int]]:
    """Return none, one, two or three groups of numbers in a row from ``at``, with the index after them."""
    reached: list[tuple[tuple[Group, ...], int]] = [((), at)]
    for _ in range(MOST_GROUPS + 1):
        further: list[tuple[tuple[Group, ...], int]] = []
        for groups, end in reached:
            yield groups, end
            if len(groups) < MOST_GROUPS:
                begin = _next_group(els, end) if groups else end
                further += [((*groups, group), after) for group, after in groups_at(els, begin)]
        reached = further


def _next_group(els: list[Item], end: int) -> int:
    """Return where a further group may begin; "and" leads to one that was read: ``is 45/5 and reads 44/4.8``."""
    begin = skip(els, end, ":-@()+")
    read = begin + 1 < len(els) and els[begin + 1].kind == NUMBER and els[begin + 1].role == "read"
    return begin + 1 if read and els[begin].meaning.joint == "and" else begin


def groups_at(els: list[Item], i: int) -> Iterator[tuple[Group, int]]:
    """Return the number at ``i``, and the pair that begins there."""
    if i >= len(els) or els[i].kind != NUMBER or (i > 1 and els[i - 1].text == "/" and els[i - 2].kind == NUMBER):
        return
    slashed = i + 2 < len(els) and els[i + 2].kind == NUMBER and els[i + 1].text in {"/", "+", "over"}
    if not slashed:
        yield group_of((els[i],)), closed(els, i + 1)
    at = i + 1
    if at < len(els) and (els[at].text in {"/", "+", "&", "over"} or els[at].meaning.joint == "and"):
        at += 1
    if at >= len(els) or els[at].kind != NUMBER:
        return
    if slashed or (els[at].role in {None, els[i].role} and is_herm_and_fan((els[i].value, els[at].value))):
        yield group_of((els[i], els[at])), closed(els, at + 1)


def group_of(numbers: tuple[Item, ...]) -> Group:
    """Return the numbers as one group; ``plain`` if each could stand on a label: whole, or a common half size."""
    plain = all(n.decimals == 0 or n.value in {7.5, 12.5, 17.5} for n in numbers)
    return Group(tuple(n.value for n in numbers), numbers[0].role, plain)


def group_end(els: list[Item], i: int) -> int:
    """Return the index after the number, or after the pair written with a slash."""
    if i + 2 < len(els) and els[i + 1].text in {"/", "+"} and els[i + 2].kind == NUMBER:
        return i + 3
    return i + 1


def closed(els: list[Item], i: int) -> int:
    """Return the index after a closing bracket at ``i``, if there is one."""
    return i + 1 if i < len(els) and els[i].text == ")" else i


def skip(els: list[Item], i: int, signs: str) -> int:
    """Return the index of the first item from ``i`` on that is none of the joining ``signs``."""
    while i < len(els) and els[i].kind == JOINT and els[i].text in signs:
        i += 1
    return i


def stands_free(els: list[Item], label: int, follows: Item | None) -> bool:
    """Whether a label that is also a noun ends here: ``2 return grilles`` is no return temperature."""
    if els[label].meaning.label not in NOUNS or label + 1 < len(els):
        return True
    number = els[label - 1]
    if number.kind == NUMBER and (number.unit is not None or number.decimals):
        return True
    return follows is None or follows.kind != OTHER


def is_label(els: list[Item], at: int, *, section: bool) -> bool:
    """Return whether a label stands at ``at``: one of a capacitor section, or one of another field."""
    return at < len(els) and els[at].kind == LABEL and (label_of(els[at]).section is not None) == section


def label_of(item: Item) -> Label:
    """Return what a label item stands for."""
    return lexicon().labels[str(item.meaning.label)]


def in_range(name: str, value: float) -> tuple[Said, ...]:
    """Return the reading, or nothing where the value cannot be one of that field."""
    return (Said(READING, name, value),) if limits().holds(name, value) else ()
