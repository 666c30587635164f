"""Numbers of a capacitor in one stretch: beside a section's label, or in the hand of a technician without one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from pipeline.enrich.notes.chunks import NUMBER
from pipeline.enrich.notes.elements import (
    BARE,
    LEAST_UNLABELLED_UF,
    LETTERS,
    NUMBER_FIRST,
    Choice,
    Context,
    in_range,
    label_of,
    sequences,
)
from pipeline.enrich.notes.items import JOINT, LABEL, Item, is_cap, size_at
from pipeline.enrich.notes.limits import limits
from pipeline.enrich.notes.sections import (
    DUAL,
    READING,
    SIZE_STEP,
    Group,
    Said,
    is_herm_and_fan,
    is_like_size_pair,
    is_size,
    is_size_pair,
    near,
    section_says,
)

PAIRED = frozenset({JOINT, NUMBER})


def section_choices(
    els: list[Item], begin: int, label: int, before: tuple[Group, ...], at: int, context: Context
) -> Iterator[Choice]:
    """A capacitor's label with the groups before and after it."""
    name, section = str(els[label].meaning.label), str(label_of(els[label]).section)
    for groups, end in sequences(els, at):
        every = (*before, *groups)
        if not every:
            continue
        numbers = [el for el in els[begin:end] if el.kind == NUMBER]
        amps = context.amps or any(number.unit == "amp" for number in numbers)
        if name == "fan" and amps and len(numbers) == 1 and numbers[0].unit in {None, "amp"}:
            small = context.amps and numbers[0].value < LEAST_UNLABELLED_UF
            if numbers[0].unit == "amp" or small or not context.speaks_of_capacitors:
                yield Choice(end, NUMBER_FIRST if before else 0.0, in_range("condenser_fan_amps", numbers[0].value))
            continue
        if any(number.unit not in {None, "uF"} for number in numbers):
            continue
        if not _is_meant(els, label, numbers, every, context):
            continue
        offered = context.priced and end == len(els) and len(every) == 1 and every[0].role != "advised"
        if offered and every[0].plain and is_size_pair(every[0].values):
            yield Choice(end, 0.0)
            continue
        if len(before) == 1 and not groups and before[0].role is None and _names_size(els, label, numbers):
            yield Choice(end, NUMBER_FIRST)
            continue
        if section == DUAL and len(every) == 1 and _only_size(every[0], numbers):
            yield Choice(end, NUMBER_FIRST if before else 0.0)
            continue
        said = section_says(section, every)
        if said and section == DUAL:
            said = _without_label(said, every)
        if said:
            yield Choice(end, NUMBER_FIRST if before else 0.0, said)


def _names_size(els: list[Item], label: int, numbers: list[Item]) -> bool:
    """Whether the numbers before "cap" are its size: ``40/5 cap``, ``10 mfd blower cap``."""
    if not is_cap(els[label]) or any(n.decimals and n.value % 5 != SIZE_STEP for n in numbers):
        return False
    values, section = [n.value for n in numbers], str(label_of(els[label]).section)
    if section == DUAL:
        return is_like_size_pair(values) and not any(n.unit for n in numbers)
    return len(values) == 1 and is_size(section, values[0])


def _only_size(group: Group, numbers: list[Item]) -> bool:
    """Whether a pair alone, ``cap 40/5``, may be what the label says as well as what was read."""
    return group.role is None and group.plain and is_size_pair(group.values) and not any(n.unit for n in numbers)


def _without_label(said: tuple[Said, ...], groups: Sequence[Group]) -> tuple[Said, ...]:
    """Leave out as readings what may be a label: the first of ``cap 40/5 replaced with 45/5``."""
    labels = [group.values for group in groups if group.role is None and group.plain and is_size_pair(group.values)]
    if not labels:
        return said
    read = {one.field: one.value for one in said if one.kind == READING}
    if (read.get("herm_uf"), read.get("fan_uf")) not in labels:
        return said
    return tuple(one for one in said if one.kind != READING or one.field not in {"herm_uf", "fan_uf"})


def _is_meant(els: list[Item], label: int, numbers: list[Item], groups: tuple[Group, ...], context: Context) -> bool:
    """Whether a short or shared label (``h``, ``fan``) speaks of the capacitor here."""
    name = str(els[label].meaning.label)
    if name in LETTERS:
        in_hand = any(el.kind == LABEL and el.meaning.label == "cap" for el in els[:label])
        return in_hand or context.both_letters or (any(n.decimals for n in numbers) and context.speaks_of_capacitors)
    if name != "fan" or els[label].text != "fan":
        return True
    if any(number.unit == "uF" for number in numbers):
        return True
    if context.speaks_of_capacitors:
        return not context.speaks_of_amps or groups[0].values[0] >= LEAST_UNLABELLED_UF
    rated = len(groups[0].values) == 2 or any(g.role == "rated" and is_size("fan", g.values[0]) for g in groups)
    return rated or (groups[0].values[0] >= LEAST_UNLABELLED_UF and not context.speaks_of_amps)


def bare_choices(els: list[Item], i: int, context: Context) -> Iterator[Choice]:
    """Numbers of a capacitor without its label: ``38.2/4.6``, ``rated 40/5``, ``old 33.8/4.9 new 40.2/5.0``."""
    number = els[i]
    if number.unit not in {None, "uF"}:
        return
    if number.role is None and number.unit is None:
        paired = i + 1 < len(els) and els[i + 1].kind in PAIRED
        if number.value < limits().herm_sure_uf or not paired:
            return
        second = els[i + 1] if els[i + 1].kind == NUMBER else els[i + 2] if i + 2 < len(els) else None
        plain = second is None or second.kind != NUMBER or second.role is None
        if plain and not context.speaks_of_capacitors and (second is None or second.value > limits().fan_to_uf):
            return
    for groups, end in sequences(els, i):
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
            readings = readings and not (len(groups) == 1 and not spoken and size_at(els, i) is not None)
            part = spoken and plain_size and groups[0].role in {"fitted", "advised"}
            part = part or (plain_size and groups[0].role == "new" and context.speaks_of_capacitors)
            told = spoken and context.speaks_of_capacitors and groups[0].role != "new"
            if plain_size and groups[0].role is None and _is_label_of(els[:i], groups[0].values, context):
                yield from _bare_says(DUAL, (Group(groups[0].values, "rated", plain=True),), end, context)
                continue
            if strong and (readings or part or told):
                yield from _bare_says(DUAL, groups, end, context)
        elif all(len(group.values) == 1 for group in groups) and context.speaks_of_capacitors:
            yield from _bare_single(groups, numbers, end, context)


def _is_label_of(before: list[Item], sizes: tuple[float, ...], context: Context) -> bool:
    """Whether both sections were read just before and are near these sizes: ``herm 36.9 fan 4.9, 40/5``."""
    found = dict(context.found)
    for label, number in pairwise(before):
        if label.kind == LABEL and number.kind == NUMBER and (section := label_of(label).section) in {"herm", "fan"}:
            found[str(section)] = number.value
    if context.led_in or not {"herm", "fan"} <= found.keys():
        return False
    return near(found["herm"], sizes[0]) and near(found["fan"], sizes[1])


def _bare_single(groups: tuple[Group, ...], numbers: list[Item], end: int, context: Context) -> Iterator[Choice]:
    in_uf = any(number.unit == "uF" for number in numbers)
    roles = {group.role for group in groups}
    of_part = roles & {"fitted", "advised", "new"}
    of_last = context.last_section is not None and roles & {"found", "after", "rated"} and not of_part
    of_size = in_uf and of_part and (len(groups) == 1 or context.last_section is not None)
    in_full = "rated" in roles and groups[0].values[0] >= limits().herm_sure_uf
    if of_last or of_size:
        yield from _bare_says(context.last_section or DUAL, groups, end, context)
    elif in_full or (in_uf and len(groups) == 1 and not groups[0].plain):
        yield from _bare_says(DUAL, groups, end, context)


def _bare_says(section: str, groups: tuple[Group, ...], end: int, context: Context) -> Iterator[Choice]:
    said = section_says(section, groups)
    if said and context.fitted and any(_too_low(one, context.fitted) for one in said):
        return
    if said and context.fitted and all(one.kind == READING for one in said) and groups[0].role in {None, "read"}:
        said = _of_new_part(said, context.fitted)
    if said:
        yield Choice(end, BARE, said)


def _too_low(one: Said, fitted: tuple[float, ...]) -> bool:
    """Whether a reading said to be the new part's is far below every size fitted."""
    return one.field.endswith("_after") and (one.value or 0.0) < 0.9 * min(fitted)


def _of_new_part(said: tuple[Said, ...], fitted: tuple[float, ...]) -> tuple[Said, ...]:
    """A reading told after a part was fitted and like its size is the new part's; one far below is the old one's."""
    values = [one.value or 0.0 for one in said]
    if len(values) != len(fitted):
        return said
    if all(0.94 * size <= value <= 1.06 * size for value, size in zip(values, fitted, strict=True)):
        return tuple(Said(READING, f"{one.field}_after", one.value) for one in said)
    return said
