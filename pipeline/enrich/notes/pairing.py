"""Numbers and labels of one stretch matched to each other, in either order, so that as little as possible is left over.

A stretch is a run of labels, numbers and signs without a word between that means something else. Every number goes to
one label at most and every label to one number or pair; of all ways to match, the one that leaves least over counts,
and on a tie the label goes first. Each element has a fixed number of choices: the time grows with the length alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple

from pipeline.enrich.notes.chunks import NUMBER
from pipeline.enrich.notes.elements import (
    BARE,
    CONTEXT_LEFT,
    FIRST_NUMBER_LEFT,
    LABEL_LEFT,
    LEAST_UNLABELLED_UF,
    LED_IN_LEFT,
    NUMBER_FIRST,
    NUMBER_LEFT,
    REFUSED,
    Choice,
    Context,
    closed,
    group_end,
    group_of,
    in_range,
    is_label,
    label_of,
    sequences,
    skip,
    stands_free,
)
from pipeline.enrich.notes.items import JOINT, LABEL, Item
from pipeline.enrich.notes.limits import limits
from pipeline.enrich.notes.section_choices import bare_choices, section_choices
from pipeline.enrich.notes.sections import DUAL, READING, VOID, Said, section_says

CONTEXT_LABELS = frozenset({"cap", "pressures", "amps", "line_temps", "low", "high", "start_cap", "minutes"})
PRESSURE_LABELS = frozenset({"pressures"})
WEIGHED_LABELS = PRESSURE_LABELS | {"static"}
"""Labels whose number depends on what else stands beside it."""
LINE_LABELS = frozenset({"suction", "liquid", "discharge"})
AMP_LABELS = frozenset({"compressor", "condenser_fan", "fan", "fan_motor", "blower"})
RATED_AMPS = {
    "compressor": "compressor_amps",
    "airflow": "condenser_fan_amps",
    "fan": "condenser_fan_amps",
    "condenser_fan": "condenser_fan_amps",
    "fan_motor": "condenser_fan_amps",
    "blower": "blower_amps",
}
"""What is measured beside a plate's amps, by the label before them; "cfm" is the condenser fan motor there."""
SAME = 1e-9
"""Costs nearer than this are equal."""
AIMED_LABELS = frozenset({"superheat", "subcooling", "target_superheat", "target_subcooling"})
MOST_BEFORE = 2
LARGEST_UF = 100.0
"""A larger number beside "cap" belongs to something else."""
LEAST_AIR_F = 10.0
"""A number below this beside "supply" is no air temperature."""


class Matched(NamedTuple):
    """What a stretch of the note says, and where it is written."""

    said: tuple[Said, ...]
    start: int
    end: int


def match_stretch(elements: list[Item], follows: Item | None, context: Context) -> list[Matched]:
    """Return what the elements of one stretch say; ``follows`` is the item after it."""
    count = len(elements)
    if NUMBER not in [el.kind for el in elements]:
        return []
    if count < 3 and (simple := _simple(elements, follows, context)) is not None:
        return simple
    if count == 3 and (pair := _pair_alone(elements, context)) is not None:
        return pair
    if elements[0].kind == LABEL and (in_turn := _in_turn(elements, context)) is not None:
        return in_turn
    last_section = max((i for i, el in enumerate(elements) if el.kind == LABEL and label_of(el).section), default=-1)
    choices: dict[int, tuple[list[Choice], Iterator[Choice]]] = {}

    def from_(i: int) -> Iterator[Choice]:
        if i not in choices:
            choices[i] = [], _choices(elements, i, follows, context, sections=i < last_section)
        known, further = choices[i]
        yield from known
        for choice in further:
            known.append(choice)
            yield choice

    came = _cheapest(count, from_, 0.0) or _cheapest(count, from_, float("inf"))
    assert came is not None
    out: list[Matched] = []
    at = count
    while at:
        at, choice = came[at]
        if choice.said:
            out.append(Matched(choice.said, elements[at].start, elements[choice.end - 1].end))
    return out[::-1]


def _cheapest(
    count: int, choices: Callable[[int], Iterator[Choice]], most: float
) -> dict[int, tuple[int, Choice]] | None:
    """Return for each element reached the choice that leads there at least cost, the first of equals.

    No more than ``most`` is spent: most stretches leave nothing over, and the ways that do need not be looked at then.
    None where the end is not reached.
    """
    best: list[float] = [0.0] + [float("inf")] * count
    came: dict[int, tuple[int, Choice]] = {}
    for i in range(count):
        if best[i] > most or best[i] >= best[count] - SAME:
            continue
        for choice in choices(i):
            cost = best[i] + choice.cost
            if cost <= most and cost < best[choice.end] - SAME:
                best[choice.end] = cost
                came[choice.end] = (i, choice)
                if cost == 0.0 and choice.end == count:
                    return came
    return came if count in came else None


def _simple(els: list[Item], follows: Item | None, context: Context) -> list[Matched] | None:
    """Return what a label or number alone, or one beside the other, says; None where more has to be weighed."""
    labels = [el for el in els if el.kind == LABEL]
    numbers = [el for el in els if el.kind == NUMBER]
    if not numbers:
        return []
    if len(els) == 1:
        return _number_alone(els, context)
    if len(labels) != 1 or len(numbers) != 1 or label_of(labels[0]).section is not None:
        return None
    if els[0].kind == NUMBER and not stands_free(els, 1, follows):
        return []
    said = _field_says(labels[0], numbers[0], context)
    return [Matched(said, els[0].start, els[1].end)] if said else None


def _number_alone(els: list[Item], context: Context) -> list[Matched]:
    number = els[0]
    if number.role is None and number.unit is None:
        return []
    if number.unit == "cfm":
        said = in_range("airflow_cfm", number.value)
    else:
        said = next((choice.said for choice in bare_choices(els, 0, context)), ())
    return [Matched(said, number.start, number.end)] if said else []


def _pair_alone(els: list[Item], context: Context) -> list[Matched] | None:
    """Return what two numbers with a slash say, and nothing beside them; None where the elements are others."""
    if els[1].text != "/" or els[0].kind != NUMBER or els[2].kind != NUMBER or "cfm" in {els[0].unit, els[2].unit}:
        return None
    for choice in (*_pressure_pair(els, 0, BARE, context, labelled=False), *bare_choices(els, 0, context)):
        if choice.end == len(els):
            return [Matched(choice.said, els[0].start, els[2].end)]
    return []


def _in_turn(els: list[Item], context: Context) -> list[Matched] | None:
    """Return what labels and numbers say where each number stands after its label (``SH 14 SC 9 OAT 92``).

    Nothing is left over then, so that nothing has to be weighed. None where that is not so of each.
    """
    out: list[Matched] = []
    label: Item | None = None
    for el in els:
        if el.kind == JOINT:
            if el.text not in ":-" or label is None:
                return None
        elif (el.kind == LABEL) != (label is None):
            return None
        elif label is None:
            if label_of(el).section is not None or el.meaning.label in WEIGHED_LABELS:
                return None
            label = el
        else:
            said = _field_says(label, el, context)
            if said is None:
                return None
            out.append(Matched(said, label.start, el.end))
            label = None
    return out if label is None else None


def _choices(els: list[Item], i: int, follows: Item | None, context: Context, *, sections: bool) -> Iterator[Choice]:
    item = els[i]
    if item.kind == JOINT:
        yield Choice(i + 1, 0.0)
        return
    if item.kind == LABEL:
        yield from _label_first(els, i, context)
        left = CONTEXT_LEFT if item.meaning.label in CONTEXT_LABELS else LABEL_LEFT
        yield Choice(i + 1, left)
        return
    yield from _number_first(els, i, follows, context, sections=sections)
    first = LED_IN_LEFT if context.led_in else FIRST_NUMBER_LEFT
    yield Choice(i + 1, first if i == 0 else NUMBER_LEFT)


def _label_first(els: list[Item], i: int, context: Context) -> Iterator[Choice]:
    label = label_of(els[i])
    at = skip(els, i + 1, ":-@(")
    if at < len(els) and els[at].kind == NUMBER:
        name = els[i].meaning.label
        if label.section is not None:
            yield from section_choices(els, i, i, (), at, context)
            if els[at].value <= LARGEST_UF:
                yield Choice(group_end(els, at), REFUSED)
        elif name in PRESSURE_LABELS:
            yield from _pressure_pair(els, at, 0.0, context, labelled=True)
        else:
            yield from _several(els, i, at, context)
            said = None if _says_otherwise(els, i, at) else _field_says(els[i], els[at], context)
            end = group_end(els, at) if said is None else at + 1
            yield Choice(closed(els, end), REFUSED if said is None else 0.0, said or ())
            yield from _with_target(els, i, at)
            second = skip(els, at + 1, ":-")
            if _is_change(els, at, second):
                yield Choice(second + 1, 0.0)
    yield from _beside_rated_amps(els, i)
    other = skip(els, i + 1, "/&")
    if other < len(els) and other > i + 1 and els[other].kind == LABEL:
        first = skip(els, other + 1, ":-@")
        yield from _label_pair(els, (i, other), first, other, context)


def _number_first(
    els: list[Item], i: int, follows: Item | None, context: Context, *, sections: bool
) -> Iterator[Choice]:
    at = skip(els, i + 1, "-")
    if is_label(els, at, section=False) and stands_free(els, at, follows):
        said = _field_says(els[at], els[i], context)
        yield Choice(at + 1, REFUSED + NUMBER_FIRST if said is None else NUMBER_FIRST, said or ())
    for before, end in sequences(els, i) if sections else ():
        at = skip(els, end, "-@")
        if not before or len(before) > MOST_BEFORE:
            continue
        free = len(before[0].values) == 2 or els[i].unit is not None
        if is_label(els, at, section=True) and (free or stands_free(els, at, follows)):
            yield from section_choices(els, i, at, before, skip(els, at + 1, ":-@("), context)
    if i + 2 < len(els) and els[i + 1].text in {"/", "over", "and"} and els[i + 2].kind == NUMBER:
        label = skip(els, i + 3, "-")
        if label < len(els) and els[label].kind == LABEL:
            other = skip(els, label + 1, "/&")
            if other < len(els) and other > label + 1 and els[other].kind == LABEL:
                yield from _label_pair(els, (label, other), i, other, context)
            if els[i].unit != els[i + 2].unit and els[i].unit and els[i + 2].unit:
                first, second = (_field_says(els[label], els[n], context) for n in (i, i + 2))
                if first is not None and second is not None:
                    yield Choice(label + 1, NUMBER_FIRST, (*first, *second))
        yield from _pressure_pair(els, i, BARE, context, labelled=False)
        if label < len(els) and els[label].meaning.label in PRESSURE_LABELS:
            for choice in _pressure_pair(els, i, NUMBER_FIRST, context, labelled=True):
                yield Choice(label + 1, choice.cost, choice.said)
    if els[i].unit == "cfm":
        yield Choice(i + 1, BARE, in_range("airflow_cfm", els[i].value))
    yield from bare_choices(els, i, context)


def _several(els: list[Item], i: int, at: int, context: Context) -> Iterator[Choice]:
    """A label before two numbers of different units: ``suction 119psig@52F``."""
    second = skip(els, at + 1, "/@,")
    if second >= len(els) or els[second].kind != NUMBER or not els[at].unit or not els[second].unit:
        return
    first, last = (_field_says(els[i], els[n], context) for n in (at, second))
    if els[at].unit != els[second].unit and first is not None and last is not None:
        yield Choice(second + 1, 0.0, (*first, *last))


def _beside_rated_amps(els: list[Item], i: int) -> Iterator[Choice]:
    """Amps beside those of the plate: ``comp RLA 15.4 act 12.7``."""
    name = str(els[i].meaning.label)
    if name not in RATED_AMPS or i + 3 >= len(els) or els[i + 1].meaning.label != "other_amps":
        return
    at = skip(els, i + 2, ":")
    second = skip(els, at + 1, "/-:,")
    if second < len(els) and els[at].kind == NUMBER and els[second].kind == NUMBER and els[second].role == "read":
        said = in_range(RATED_AMPS[name], els[second].value) if els[second].unit in {None, "amp"} else ()
        if said:
            yield Choice(second + 1, 0.0, said)


def _with_target(els: list[Item], i: int, at: int) -> Iterator[Choice]:
    """A label before the reading and its target, in either order: ``sh 18 target 17``, ``target sh 16 actual 22``."""
    second = skip(els, at + 1, ":-/@(")
    if second >= len(els) or els[second].kind != NUMBER:
        return
    name, role = str(els[i].meaning.label), els[second].role
    aims = {"superheat": "target", "subcooling": "target", "target_superheat": "read", "target_subcooling": "read"}
    if name not in aims or aims[name] != role:
        return
    fields = ("recorded_superheat_f", "recorded_target_superheat_f")
    if "subcooling" in name:
        fields = ("recorded_subcooling_f", "")
    order = fields if role == "target" else fields[::-1]
    said = [in_range(field, els[n].value) for field, n in zip(order, (at, second), strict=True) if field]
    if all(said) and {els[at].unit, els[second].unit} <= {None, "degF"}:
        yield Choice(closed(els, second + 1), 0.0, tuple(one[0] for one in said))


def _says_otherwise(els: list[Item], i: int, at: int) -> bool:
    """Whether the number is one of two (``volts 208/230``), or a static pressure told in its parts (``supply .3``)."""
    end = group_end(els, at)
    own_label = end < len(els) and els[end].kind == LABEL and (end + 1 >= len(els) or els[end + 1].kind != NUMBER)
    if end > at + 1 and not own_label:
        return els[at].unit is None or els[at].unit == els[at + 2].unit
    if els[at].unit == "uF" and at + 1 < len(els) and els[at + 1].kind == NUMBER:
        return True  # "blower 15 mfd 14.2": one of them is the label's
    if els[i].meaning.label != "static":
        return False
    after = [el for el in els[at + 1 : at + 4] if el.kind in {LABEL, NUMBER}]
    if len(after) < 2 or after[0].meaning.label not in {"supply", "return"}:
        return False
    return after[1].kind == NUMBER and after[1].value < LEAST_AIR_F


def _is_change(els: list[Item], first: int, second: int) -> bool:
    """Whether two numbers after a label are before and after: which of them counts is not said."""
    if second >= len(els) or els[second].kind != NUMBER:
        return False
    if els[second].role not in {"found", "after"} and els[first].role not in {"found", "after"}:
        return False
    after = skip(els, second + 1, "-")
    return after >= len(els) or els[after].kind != LABEL


def _label_pair(els: list[Item], labels: tuple[int, int], first: int, end: int, context: Context) -> Iterator[Choice]:
    """Two labels beside two numbers: ``sh/sc 14/9``, ``74/55 ret/sup``."""
    if first + 2 >= len(els) or els[first].kind != NUMBER or els[first + 2].kind != NUMBER:
        return
    if els[first + 1].text not in {"/", "and", "over", "&", "-"}:
        return
    said: list[Said] = []
    for label, number in zip(labels, (first, first + 2), strict=True):
        one = _paired_says(els[label], els[number], context)
        if one is None:
            return
        said += one
    yield Choice(max(end, first + 2) + 1, 0.0, tuple(said))


def _paired_says(label: Item, number: Item, context: Context) -> tuple[Said, ...] | None:
    section = label_of(label).section
    if label.meaning.label in {"low", "high"}:
        return in_range("suction_psig" if label.meaning.label == "low" else "liquid_psig", number.value) or None
    if label.meaning.label in AMP_LABELS and (context.amps or number.unit == "amp"):
        field = {"compressor": "compressor_amps", "blower": "blower_amps"}.get(str(label.meaning.label))
        return in_range(field or "condenser_fan_amps", number.value) or None
    if section in {None, DUAL}:
        return _field_says(label, number, context) if section is None else None
    if number.unit not in {None, "uF"}:
        return None
    return section_says(str(section), (group_of((number,)),))


def _pressure_pair(els: list[Item], i: int, cost: float, context: Context, *, labelled: bool) -> Iterator[Choice]:
    """Suction and liquid pressure written as a pair, where they are possible for the refrigerant while cooling."""
    if i + 2 >= len(els) or els[i + 2].kind != NUMBER:
        return
    joint = els[i + 1].text
    if joint not in ({"/", "over", "and", "&"} if labelled else {"/", "over"}):
        return
    low, high = els[i], els[i + 2]
    if {low.unit, high.unit} - {None, "psi"} or low.decimals + high.decimals > 2 or low.role == "advised":
        return
    known = limits()
    low_from, low_to, high_from, high_to = known.pressures(context.refrigerant)
    if labelled:
        low_from, low_to, high_from, high_to = low_from * 0.5, low_to * 1.2, high_from * 0.6, high_to * 1.1
    elif low.decimals or high.decimals or (low.value, high.value) in known.voltages:
        return
    if low_from <= low.value <= low_to and high_from <= high.value <= high_to and high.value >= 1.3 * low.value:
        yield Choice(i + 3, cost, (Said(READING, "suction_psig", low.value), Said(READING, "liquid_psig", high.value)))


def _field_says(label: Item, number: Item, context: Context) -> tuple[Said, ...] | None:
    """Return the reading, or None where the number cannot be one of this label."""
    name = str(label.meaning.label)
    unit = number.unit or "none"
    if unit == "none" and context.amps and name in AMP_LABELS:
        unit = "amp"
    if unit == "none" and context.line_temps and name in LINE_LABELS:
        unit = "degF"
    field = label_of(label).fields.get(unit)
    if number.role in {"prior", VOID}:
        return None  # of before the work: what it is now counts
    if number.role in {"rated", "target"} and name not in AIMED_LABELS:
        return None  # what it should be
    if number.role in {"target", "rated"} and name in {"superheat", "subcooling"}:
        field = "recorded_target_superheat_f" if name == "superheat" and unit in {"none", "degF"} else ""
    if name == "blower" and unit == "none" and context.speaks_of_capacitors and not context.speaks_of_amps:
        field = "blower_uf" if number.value >= LEAST_UNLABELLED_UF else ""
    if not field or number.role == "advised" or number.decimals > 2:
        return None
    if unit == "none" and field in {"suction_psig", "liquid_psig"} and name in LINE_LABELS:
        low_from, low_to, high_from, high_to = limits().pressures(context.refrigerant)
        low, high = (low_from * 0.7, low_to * 1.2) if field == "suction_psig" else (high_from * 0.7, high_to * 1.1)
        if not low <= number.value <= high:
            return None
    return in_range(field, number.value) or None
