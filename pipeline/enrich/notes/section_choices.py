"""Numbers of a capacitor in one stretch: beside a section's label, or in the hand of a technician without one."""

from __future__ import annotations

from collections.abc import Iterator

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
from pipeline.enrich.notes.items import JOINT, LABEL, Item
from pipeline.enrich.notes.limits import limits
from pipeline.enrich.notes.sections import DUAL, READING, Group, Said, is_herm_and_fan, is_size_pair, section_says


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
        if context.priced and end == len(els) and len(every) == 1 and every[0].plain and is_size_pair(every[0].values):
            yield Choice(end, 0.0)
            continue
        size_only = len(before) == 1 and not groups and before[0].role is None and before[0].plain
        if section == DUAL and size_only and is_size_pair(before[0].values) and not any(n.unit for n in numbers):
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
    if any(number.unit == "uF" for number in numbers):
        return True
    if context.speaks_of_capacitors:
        return not context.speaks_of_amps or groups[0].values[0] >= LEAST_UNLABELLED_UF
    rated = len(groups[0].values) == 2 or any(group.role == "rated" for group in groups)
    return rated or (groups[0].values[0] >= LEAST_UNLABELLED_UF and not context.speaks_of_amps)


def bare_choices(els: list[Item], i: int, context: Context) -> Iterator[Choice]:
    """Numbers of a capacitor without its label: ``38.2/4.6``, ``rated 40/5``, ``old 33.8/4.9 new 40.2/5.0``."""
    number = els[i]
    if number.unit not in {None, "uF"}:
        return
    if number.role is None and number.unit is None:
        paired = i + 1 < len(els) and els[i + 1].kind in {JOINT, NUMBER}
        if number.value < limits().herm_sure_uf or not paired:
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
    of_part = roles & {"fitted", "advised", "new"}
    of_last = context.last_section is not None and roles & {"found", "after", "rated"} and not of_part
    of_size = in_uf and of_part and len(groups) == 1
    in_full = "rated" in roles and groups[0].values[0] >= limits().herm_sure_uf
    if of_last or of_size:
        yield from _bare_says(context.last_section or DUAL, groups, end, context)
    elif in_full or (in_uf and len(groups) == 1 and not groups[0].plain):
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
