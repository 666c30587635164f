"""Numbers and labels of one stretch matched to each other, in either order, so that as little as possible is left over.

A stretch is a run of labels, numbers and signs without a word between that means something else. Every number goes to one
label at most and every label to one number or pair; of all ways to match, the one that leaves least over counts, and on
a tie the label goes first. Each element has a fixed number of choices, so the time grows with the length alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pipeline.enrich.notes.chunks import BREAK, COMMA
from pipeline.enrich.notes.items import JOINT, LABEL, NUMBER, OTHER, Item
from pipeline.enrich.notes.lexicon import Label, lexicon
from pipeline.enrich.notes.limits import limits
from pipeline.enrich.notes.sections import (
    DUAL,
    PART,
    RATING,
    READING,
    Group,
    Said,
    is_herm_and_fan,
    is_size_pair,
    section_says,
)

NUMBER_LEFT, FIRST_NUMBER_LEFT, LABEL_LEFT, CONTEXT_LEFT = 1.2, 2.0, 1.0, 0.3
NUMBER_FIRST, BARE, REFUSED = 0.1, 0.2, 0.3
CONTEXT_LABELS = frozenset({"cap", "pressures", "amps", "line_temps", "low", "high", "start_cap", "minutes"})
LETTERS = frozenset({"herm_letter", "fan_letter"})
NOUNS = frozenset({"fan", "cap", "compressor", "blower", "return", "supply", "outdoor", "liquid", "suction", "fan_motor", "condenser_fan", "superheat", "subcooling"})  # fmt: skip
PRESSURE_LABELS = frozenset({"pressures"})
LINE_LABELS = frozenset({"suction", "liquid", "discharge"})
AMP_LABELS = frozenset({"compressor", "condenser_fan", "fan", "fan_motor", "blower"})
MOST_GROUPS, MOST_BEFORE = 3, 2
LEAST_UNLABELLED_UF = 2.5
"""A number below this beside "fan" or "blower", without a unit, may be amps."""
LEAST_AIR_F = 10.0
"""A number below this beside "supply" is no air temperature."""


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


@dataclass(frozen=True, slots=True)
class Choice:
    """One way to use the elements up to ``end``: what it leaves over as cost, and what is said."""

    end: int
    cost: float
    said: tuple[Said, ...] = ()
    start: int = -1
    """First element that belongs to what is said; -1: the one the choice begins at."""


@dataclass(frozen=True, slots=True)
class Matched:
    """What a stretch of the note says, and where it is written."""

    said: tuple[Said, ...]
    start: int
    end: int


def match_stretch(elements: list[Item], follows: Item | None, context: Context) -> list[Matched]:
    """Return what the elements of one stretch say; ``follows`` is the item after it."""
    count = len(elements)
    if count == 1 and elements[0].kind == LABEL:
        return []
    if count == 2 and elements[0].kind == LABEL and elements[1].kind == NUMBER:
        label = _label(elements[0])
        if label.section is None:
            said = _field_says(elements[0], elements[1], context)
            return [Matched(said, elements[0].start, elements[1].end)] if said else []
    best: list[float] = [0.0] + [float("inf")] * count
    came: list[tuple[int, Choice] | None] = [None] * (count + 1)
    last_section = max((i for i, el in enumerate(elements) if el.kind == LABEL and _label(el).section), default=-1)
    for i in range(count):
        if best[i] == float("inf"):
            continue
        for choice in _choices(elements, i, follows, context, sections=i < last_section):
            cost = best[i] + choice.cost
            if cost < best[choice.end] - 1e-9:
                best[choice.end] = cost
                came[choice.end] = (i, choice)
    out: list[Matched] = []
    at = count
    while at:
        step = came[at]
        assert step is not None
        at, choice = step
        if choice.said:
            out.append(Matched(choice.said, elements[at].start, elements[choice.end - 1].end))
    return out[::-1]


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
    yield Choice(i + 1, FIRST_NUMBER_LEFT if i == 0 else NUMBER_LEFT)


def _label_first(els: list[Item], i: int, context: Context) -> Iterator[Choice]:
    label = _label(els[i])
    at = _skip(els, i + 1, ":-@")
    if at < len(els) and els[at].kind == NUMBER:
        name = els[i].meaning.label
        if label.section is not None:
            yield from _section(els, i, i, (), at, context)
            yield Choice(_group_end(els, at), REFUSED)
        elif name in PRESSURE_LABELS:
            yield from _pressure_pair(els, at, 0.0, context, labelled=True)
        else:
            yield from _several(els, i, at, context)
            said = None if _is_part_static(els, i, at) else _field_says(els[i], els[at], context)
            yield Choice(at + 1, REFUSED if said is None else 0.0, said or ())
            yield from _with_target(els, i, at, context)
            second = _skip(els, at + 1, ":-")
            if _is_change(els, at, second):
                yield Choice(second + 1, 0.0)
    other = _skip(els, i + 1, "/&")
    if other < len(els) and other > i + 1 and els[other].kind == LABEL:
        first = _skip(els, other + 1, ":-@")
        yield from _label_pair(els, (i, other), first, other, context)


def _number_first(
    els: list[Item], i: int, follows: Item | None, context: Context, *, sections: bool
) -> Iterator[Choice]:
    at = _skip(els, i + 1, "-")
    if at < len(els) and els[at].kind == LABEL and _stands_free(els, at, follows):
        if _label(els[at]).section is None:
            said = _field_says(els[at], els[i], context)
            yield Choice(at + 1, REFUSED + NUMBER_FIRST if said is None else NUMBER_FIRST, said or ())
    for before, end in _sequences(els, i) if sections else ():
        at = _skip(els, end, "-@")
        if not before or len(before) > MOST_BEFORE:
            continue
        group = before[0]
        if at < len(els) and els[at].kind == LABEL and _label(els[at]).section is not None:
            if _stands_free(els, at, follows) or len(group.values) == 2 or els[i].unit is not None:
                yield from _section(els, i, at, before, _skip(els, at + 1, ":-@("), context)
    if i + 2 < len(els) and els[i + 1].text in {"/", "over", "and"} and els[i + 2].kind == NUMBER:
        label = _skip(els, i + 3, "-")
        if label < len(els) and els[label].kind == LABEL:
            other = _skip(els, label + 1, "/&")
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
        yield Choice(i + 1, BARE, _in_range("airflow_cfm", els[i].value))
    yield from _bare_section(els, i, context)


def _several(els: list[Item], i: int, at: int, context: Context) -> Iterator[Choice]:
    """A label before two numbers of different units: ``suction 119psig@52F``."""
    second = _skip(els, at + 1, "/@,")
    if second < len(els) and els[second].kind == NUMBER and els[at].unit and els[second].unit:
        if els[at].unit != els[second].unit:
            said = [_field_says(els[i], els[n], context) for n in (at, second)]
            if said[0] is not None and said[1] is not None:
                yield Choice(second + 1, 0.0, (*said[0], *said[1]))


def _with_target(els: list[Item], i: int, at: int, context: Context) -> Iterator[Choice]:
    """A label before the reading and its target, in either order: ``sh 18 target 17``, ``target sh 16 actual 22``."""
    second = _skip(els, at + 1, ":-/@(")
    if second >= len(els) or els[second].kind != NUMBER:
        return
    name, role = str(els[i].meaning.label), els[second].role
    aims = {"superheat": "target", "subcooling": "target", "target_superheat": "read", "target_subcooling": "read"}
    if aims.get(name) != role:
        return
    fields = ("recorded_superheat_f", "recorded_target_superheat_f") if "superheat" in name else ("recorded_subcooling_f", "")
    order = fields if role == "target" else fields[::-1]
    said = [_in_range(field, els[n].value) for field, n in zip(order, (at, second), strict=True) if field]
    if all(said) and {els[at].unit, els[second].unit} <= {None, "degF"}:
        yield Choice(_close(els, second + 1), 0.0, tuple(one[0] for one in said))


def _is_part_static(els: list[Item], i: int, at: int) -> bool:
    """Whether a static pressure is told in its parts: ``static .4 supply .3 return``."""
    if els[i].meaning.label != "static":
        return False
    after = [el for el in els[at + 1 : at + 4] if el.kind in {LABEL, NUMBER}]
    sides = {"supply", "return"}
    return len(after) > 1 and after[0].meaning.label in sides and after[1].kind == NUMBER and after[1].value < LEAST_AIR_F


def _is_change(els: list[Item], first: int, second: int) -> bool:
    """Whether two numbers after a label are before and after: which of them counts is not said."""
    if second >= len(els) or els[second].kind != NUMBER:
        return False
    if els[second].role not in {"found", "after"} and els[first].role not in {"found", "after"}:
        return False
    after = _skip(els, second + 1, "-")
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
    section = _label(label).section
    if label.meaning.label in {"low", "high"}:
        return _in_range("suction_psig" if label.meaning.label == "low" else "liquid_psig", number.value) or None
    if label.meaning.label in AMP_LABELS and (context.amps or number.unit == "amp"):
        field = {"compressor": "compressor_amps", "blower": "blower_amps"}.get(label.meaning.label, "condenser_fan_amps")
        return _in_range(field, number.value) or None
    if section in {None, DUAL}:
        return _field_says(label, number, context) if section is None else None
    if number.unit not in {None, "uF"}:
        return None
    return section_says(str(section), (_group((number,)),))


def _pressure_pair(els: list[Item], i: int, cost: float, context: Context, *, labelled: bool) -> Iterator[Choice]:
    """Suction and liquid pressure written as a pair, where they are possible for the refrigerant while cooling."""
    if i + 2 >= len(els) or els[i + 2].kind != NUMBER:
        return
    joint = els[i + 1].text
    if joint not in ({"/", "over", "and", "&"} if labelled else {"/", "over"}):
        return
    low, high = els[i], els[i + 2]
    if {low.unit, high.unit} - {None, "psi"} or low.decimals + high.decimals > 2 or low.role in {"fitted", "advised"}:
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
    field = _label(label).fields.get(unit)
    if number.role == "target" and name in {"superheat", "subcooling"}:
        field = "recorded_target_superheat_f" if name == "superheat" and unit in {"none", "degF"} else ""
    if name == "blower" and unit == "none" and context.speaks_of_capacitors and not context.speaks_of_amps:
        field = "blower_uf" if number.value >= LEAST_UNLABELLED_UF else ""
    if not field or number.role in {"fitted", "advised"} or number.decimals > 2:
        return None
    if unit == "none" and field in {"suction_psig", "liquid_psig"} and name in LINE_LABELS:
        low_from, low_to, high_from, high_to = limits().pressures(context.refrigerant)
        low, high = (low_from * 0.7, low_to * 1.2) if field == "suction_psig" else (high_from * 0.7, high_to * 1.1)
        if not low <= number.value <= high:
            return None
    return _in_range(field, number.value) or None


def _in_range(field: str, value: float) -> tuple[Said, ...]:
    return (Said(READING, field, value),) if limits().holds(field, value) else ()


def _section(
    els: list[Item], begin: int, label: int, before: tuple[Group, ...], at: int, context: Context
) -> Iterator[Choice]:
    """A capacitor's label with the groups before and after it."""
    name, section = str(els[label].meaning.label), str(_label(els[label]).section)
    for groups, end in _sequences(els, at):
        every = (*before, *groups)
        if not every:
            continue
        numbers = [el for el in els[begin:end] if el.kind == NUMBER]
        amps = context.amps or any(number.unit == "amp" for number in numbers)
        if name == "fan" and amps and len(numbers) == 1 and numbers[0].unit in {None, "amp"}:
            if numbers[0].unit == "amp" or not context.speaks_of_capacitors:
                said = _in_range("condenser_fan_amps", numbers[0].value)
                yield Choice(end, NUMBER_FIRST if before else 0.0, said)
            continue
        if any(number.unit not in {None, "uF"} for number in numbers) or not _is_meant(els, label, numbers, every, context):
            continue
        size_only = len(before) == 1 and not groups and is_size_pair(before[0].values) and before[0].role is None and before[0].plain
        if section == DUAL and size_only and not any(number.unit for number in numbers):
            yield Choice(end, NUMBER_FIRST)
            continue
        said = section_says(section, every)
        if said:
            yield Choice(end, NUMBER_FIRST if before else 0.0, said)


def _is_meant(els: list[Item], label: int, numbers: list[Item], groups: tuple[Group, ...], context: Context) -> bool:
    """Whether a short or shared label (``h``, ``fan``) speaks of the capacitor here."""
    name = str(els[label].meaning.label)
    if name in LETTERS:
        in_hand = any(el.kind == LABEL and el.meaning.label == "cap" for el in els[:label])
        return in_hand or context.both_letters or (any(n.decimals for n in numbers) and context.speaks_of_capacitors)
    if name != "fan" or els[label].text != "fan":
        return True
    if context.speaks_of_capacitors or any(number.unit == "uF" for number in numbers):
        return True
    rated = len(groups[0].values) == 2 or any(group.role == "rated" for group in groups)
    return rated or (groups[0].values[0] >= LEAST_UNLABELLED_UF and not context.speaks_of_amps)


def _bare_section(els: list[Item], i: int, context: Context) -> Iterator[Choice]:
    """Numbers of a capacitor without its label: ``38.2/4.6``, ``rated 40/5``, ``old 33.8/4.9 new 40.2/5.0``."""
    number = els[i]
    if number.unit not in {None, "uF"} or (number.role is None and number.unit is None and number.value < limits().herm_sure_uf):
        return
    for groups, end in _sequences(els, i):
        if not groups:
            continue
        numbers = [el for el in els[i:end] if el.kind == NUMBER]
        if any(number.unit not in {None, "uF"} for number in numbers):
            continue
        pairs = all(len(group.values) == 2 for group in groups)
        if pairs and all(is_herm_and_fan(group.values) for group in groups):
            strong = els[i + 1].text in {"/", "+"} or context.speaks_of_capacitors
            spoken = any(group.role not in {None} for group in groups)
            plain_size = len(groups) == 1 and groups[0].plain and is_size_pair(groups[0].values)
            readings = any(number.decimals or number.unit for number in numbers) and not plain_size
            part = spoken and plain_size and groups[0].role in {"fitted", "advised"}
            part = part or (plain_size and groups[0].role == "new" and context.speaks_of_capacitors)
            told = spoken and context.speaks_of_capacitors and groups[0].role != "new"
            if strong and (readings or part or told):
                yield from _bare_says(DUAL, groups, end, context)
        elif all(len(group.values) == 1 for group in groups) and context.speaks_of_capacitors:
            yield from _bare_single(groups, numbers, end, context)


def _bare_single(groups: tuple[Group, ...], numbers: list[Item], end: int, context: Context) -> Iterator[Choice]:
    in_uf = any(number.unit == "uF" for number in numbers)
    roles = {group.role for group in groups}
    if context.last_section is not None and roles & {"found", "after", "rated"} and not roles & {"fitted", "advised", "new"}:
        yield from _bare_says(context.last_section, groups, end, context)
    elif in_uf and roles & {"fitted", "advised", "new"} and len(groups) == 1:
        yield from _bare_says(context.last_section or DUAL, groups, end, context)
    elif in_uf and len(groups) == 1:
        yield from _bare_says(DUAL, groups, end, context)


def _bare_says(section: str, groups: tuple[Group, ...], end: int, context: Context) -> Iterator[Choice]:
    said = section_says(section, groups)
    if said and context.fitted and all(one.kind == READING for one in said) and groups[0].role in {None, "read"}:
        said = _of_new_part(said, context.fitted)
    if said:
        yield Choice(end, BARE, said)


def _of_new_part(said: tuple[Said, ...], fitted: tuple[float, ...]) -> tuple[Said, ...]:
    """A reading told after a part was fitted and like its size is the new part's; one far below is the old one's."""
    values = [one.value or 0.0 for one in said]
    if len(values) != len(fitted):
        return said
    if all(0.94 * size <= value <= 1.06 * size for value, size in zip(values, fitted, strict=True)):
        return tuple(Said(READING, f"{one.field}_after", one.value) for one in said)
    return said


def _sequences(els: list[Item], at: int) -> Iterator[tuple[tuple[Group, ...], int]]:
    """Return none, one, two or three groups of numbers in a row from ``at``, with the index after them."""
    reached: list[tuple[tuple[Group, ...], int]] = [((), at)]
    for _ in range(MOST_GROUPS + 1):
        further: list[tuple[tuple[Group, ...], int]] = []
        for groups, end in reached:
            yield groups, end
            if len(groups) < MOST_GROUPS:
                begin = _skip(els, end, ":-@()+") if groups else end
                further += [((*groups, group), after) for group, after in _groups(els, begin)]
        reached = further


def _groups(els: list[Item], i: int) -> Iterator[tuple[Group, int]]:
    """Return the number at ``i``, and the pair that begins there."""
    if i >= len(els) or els[i].kind != NUMBER or (i > 1 and els[i - 1].text == "/" and els[i - 2].kind == NUMBER):
        return
    slashed = i + 2 < len(els) and els[i + 2].kind == NUMBER and els[i + 1].text in {"/", "+", "over"}
    if not slashed:
        yield _group((els[i],)), _close(els, i + 1)
    at = i + 1
    if at < len(els) and (els[at].text in {"/", "+", "&", "over"} or els[at].meaning.joint == "and"):
        at += 1
    if at < len(els) and els[at].kind == NUMBER and (slashed or els[at].role in {None, els[i].role}):
        if slashed or is_herm_and_fan((els[i].value, els[at].value)):
            yield _group((els[i], els[at])), _close(els, at + 1)


def _group(numbers: tuple[Item, ...]) -> Group:
    plain = all(n.decimals == 0 or n.value in {7.5, 12.5, 17.5} for n in numbers)
    return Group(tuple(n.value for n in numbers), numbers[0].role, plain)


def _group_end(els: list[Item], i: int) -> int:
    """Return the index after the number, or after the pair written with a slash."""
    if i + 2 < len(els) and els[i + 1].text in {"/", "+"} and els[i + 2].kind == NUMBER:
        return i + 3
    return i + 1


def _close(els: list[Item], i: int) -> int:
    return i + 1 if i < len(els) and els[i].text == ")" else i


def _skip(els: list[Item], i: int, signs: str) -> int:
    while i < len(els) and els[i].kind == JOINT and els[i].text in signs:
        i += 1
    return i


def _stands_free(els: list[Item], label: int, follows: Item | None) -> bool:
    """Whether a label that is also a noun ends here: ``2 return grilles`` is no return temperature."""
    if els[label].meaning.label not in NOUNS or label + 1 < len(els):
        return True
    return follows is None or follows.kind in {BREAK, COMMA} or follows.kind != OTHER


def _label(item: Item) -> Label:
    return lexicon().labels[str(item.meaning.label)]


__all__ = ["PART", "RATING", "Context", "Matched", "match_stretch"]
