"""What numbers beside a capacitor's label say: as found, of the new part, the rating, or the size of a part."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from pipeline.enrich.capacitor_facts import capacitor_facts
from pipeline.enrich.notes.limits import limits

READING, RATING, PART, OBSERVATION, CHECKED = "reading", "rating", "part", "observation", "checked"
FITTED, ADVISED = "fitted", "advised"
DUAL = "dual"
VOID = "void"
"""Role of a number that is no reading of today and no part of today: an old part's label, a part not fitted."""
SIZE_STEP = 2.5
"""Labels of capacitors are multiples of this (common practice, no source); so are some readings."""


class Said(NamedTuple):
    """One thing told: a reading, a rating, a part, an observation or a check."""

    kind: str
    field: str
    value: float | None = None
    text: str | None = None


class Group(NamedTuple):
    """One number, or two written as a pair, with the role that the words before give."""

    values: tuple[float, ...]
    role: str | None
    plain: bool
    """Written as a size is: whole, or 7.5 and 12.5."""


def is_size(section: str, value: float) -> bool:
    """Whether capacitors of this section are sold in this size."""
    return value in capacitor_facts().preferred_uf[section]


def is_herm_and_fan(values: Sequence[float]) -> bool:
    """Whether two numbers are compressor and fan section: the first 20 or more, the second 15 or less."""
    if len(values) != 2:
        return False
    known = limits()
    return values[0] >= known.herm_sure_uf and values[1] <= known.fan_to_uf


def is_size_pair(values: Sequence[float]) -> bool:
    """Whether two numbers are the sizes of a dual capacitor."""
    if len(values) != 2 or values[0] < limits().herm_from_uf:
        return False
    return is_size("herm", values[0]) and is_size("fan", values[1])


def is_like_size_pair(values: Sequence[float]) -> bool:
    """Whether two numbers could stand on the label of a dual capacitor, one that is seldom sold among them."""
    if len(values) != 2 or values[0] < limits().herm_from_uf:
        return False
    return values[0] % SIZE_STEP == 0 and is_size("fan", values[1])


def near(measured: float, rated: float) -> bool:
    """Whether two numbers can be a reading and its rating."""
    known = limits()
    return rated > 0 and known.near_low <= measured / rated <= known.near_high


def section_says(section: str, groups: Sequence[Group]) -> tuple[Said, ...] | None:
    """Return what the groups beside a section's label say; None where they contradict the label or each other.

    Parameters
    ----------
    section
        herm, fan, blower, or dual for a capacitor without a section.
    groups
        In order of writing.
    """
    if any(group.role == VOID for group in groups):
        return None
    if section != DUAL:
        flat = _measured_and_rated(section, groups)
        return None if flat is None else _one_section(section, flat)
    if all(is_herm_and_fan(group.values) for group in groups):
        herm = _one_section("herm", [Group(g.values[:1], g.role, g.plain) for g in groups])
        fan = _one_section("fan", [Group(g.values[1:], g.role, g.plain) for g in groups])
        return None if herm is None or fan is None else (*herm, *fan)
    if any(min(group.values) < limits().herm_sure_uf for group in groups):
        return None
    flat = _measured_and_rated("herm", groups)
    return None if flat is None else _one_section("herm", flat)


def _measured_and_rated(section: str, groups: Sequence[Group]) -> list[Group] | None:
    """Take pairs apart: two near-equal numbers are a reading and its rating."""
    flat: list[Group] = []
    for group in groups:
        if len(group.values) == 1:
            flat.append(group)
            continue
        first, second = group.values
        if is_size(section, second) and near(first, second):
            flat += [Group((first,), group.role, False), Group((second,), "rated", True)]
        elif is_size(section, first) and near(second, first):
            flat += [Group((first,), "rated", True), Group((second,), group.role, False)]
        else:
            return None
    return flat


def _one_section(section: str, groups: Sequence[Group]) -> tuple[Said, ...] | None:
    slots: dict[str, float] = {}
    text: str | None = None
    for group in groups:
        value = group.values[0]
        slot = _slot(section, group, slots)
        if slot == "swap":
            slots["rated"], slots["found"] = slots.pop("found"), value
            continue
        if slot is None or slot in slots:
            return None
        if slot == "part":
            text = ADVISED if group.role == "advised" else FITTED
        slots[slot] = value
    low, high = limits().fields[f"{section}_uf"]
    if any(not low <= value <= high for value in slots.values()):
        return None
    if "part" in slots and "rated" in slots:
        return None
    out: list[Said] = []
    if "found" in slots:
        out.append(Said(READING, f"{section}_uf", slots["found"]))
    if "after" in slots:
        out.append(Said(READING, f"{section}_uf_after", slots["after"]))
    if "rated" in slots and is_size(section, slots["rated"]):
        out.append(Said(RATING, f"cap_{section}_uf", slots["rated"]))
    if "part" in slots:
        out.append(Said(PART, f"part_cap_{section}_uf", slots["part"], text))
    return tuple(out)


def _slot(section: str, group: Group, slots: dict[str, float]) -> str | None:
    """Return what the group's number is: found, after, rated, part; ``swap``: the one before it was the rating."""
    value, role = group.values[0], {"prior": "found", "target": "rated"}.get(str(group.role), group.role)
    size = is_size(section, value)
    if role in {"fitted", "advised", "new"}:
        if size and group.plain:
            return "part"
        return "after" if role == "new" else None
    if role in {"found", "after", "rated"}:
        return "found" if role == "found" and "found" not in slots else role if role != "found" else None
    if "part" in slots:
        return "after" if near(value, slots["part"]) and value >= 0.9 * slots["part"] else None
    if "found" not in slots:
        return "found"
    before = slots["found"]
    if role != "read" and size and near(before, value) and not is_size(section, before):
        return "rated"
    if is_size(section, before) and "rated" not in slots and near(value, before):
        return "swap"
    return None
