"""One note read by a fixed grammar: readings, ratings, parts, checks, observations, each with where it is written."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

from pipeline.enrich.notes.chunks import BREAK, COMMA, HASH, NUMBER
from pipeline.enrich.notes.elements import LETTERS, Context
from pipeline.enrich.notes.items import (
    FILLER,
    JOINT,
    LABEL,
    MARK,
    OTHER,
    REFRIGERANT,
    ROLE,
    WEIGHT,
    Item,
    items_of,
)
from pipeline.enrich.notes.lexicon import lexicon
from pipeline.enrich.notes.marks import Mark, mark_items
from pipeline.enrich.notes.observations import observed
from pipeline.enrich.notes.pairing import match_stretch
from pipeline.enrich.notes.sections import CHECKED, FITTED, PART, READING, Said
from pipeline.enrich.notes.weights import weighed

LONGEST_NOTE = 3_000
"""Characters read of one note; what lies beyond is not read. A technician's note is a tenth of that at most."""
LONGEST_STRETCH = 80
"""Labels and numbers in a row that are matched together; more in a row is no writing."""

CAPACITOR_LABELS = frozenset({"cap", "herm", "blower_cap"})
AMP_WORDS = frozenset({"amps", "compressor_amps", "fan_amps", "blower_amps", "other_amps"})
HUMIDITY = frozenset({"humidity", "outdoor_humidity"})
_OWN_PARTS = frozenset({"fitted", "advised"})
_ENDERS = frozenset({OTHER, BREAK, COMMA, MARK, WEIGHT, REFRIGERANT, HASH})


@dataclass(frozen=True, slots=True)
class Told:
    """One thing a note tells, the mark it stands under, and its place in the note."""

    said: Said
    mark: Mark | None
    start: int
    end: int


def read_note(note: str, refrigerant: str | None = None) -> list[Told]:
    """Return everything the note tells, in order of writing.

    Parameters
    ----------
    note
        As typed; never trusted.
    refrigerant
        The unit's, as the register names it; a pair of pressures is taken where it is possible for it.

    Examples
    --------
    >>> [(t.said.field, t.said.value) for t in read_note("SH 14 sc 9, cap 38.2/4.6")]
    [('recorded_superheat_f', 14.0), ('recorded_subcooling_f', 9.0), ('herm_uf', 38.2), ('fan_uf', 4.6)]
    """
    items = items_of(note[:LONGEST_NOTE])
    if not items:
        return []
    marks = mark_items(items)
    _give_roles(items)
    told = [
        *(_readings(items, marks, refrigerant) if any(item.kind == NUMBER for item in items) else ()),
        *(Told(said, marks[i], start, end) for said, i, start, end in weighed(items)),
    ]
    roles = {item.meaning.role for item in items}
    if "open" in roles:
        told += _opens(items, marks)
    if "good" in roles:
        told += _checks(items, marks, told)
    told += [Told(said, marks[i], start, end) for said, i, start, end in observed(items)]
    told.sort(key=lambda one: (one.start, one.end))
    return told if ":" in note or "\n" in note else _without_shared(told)


def _without_shared(told: list[Told]) -> list[Told]:
    """Take the mark off outdoor air told once, after the last of several marks: it is said of the place."""
    marks = [one.mark for one in told if one.mark is not None]
    outdoor = [one for one in told if one.said.field == "outdoor_db_f"]
    if len(set(marks)) < 2 or len(outdoor) != 1 or outdoor[0].mark != marks[-1]:
        return told
    return [replace(one, mark=None) if one is outdoor[0] else one for one in told]


def _give_roles(items: list[Item]) -> None:
    """Give each number the role that the words before it set; a role ends with its number and with the clause."""
    role: str | None = None
    strong = False
    previous: Item | None = None
    for i, item in enumerate(items):
        new = item.meaning.role
        if item.kind == NUMBER:
            paired = previous is not None and previous.kind == JOINT and previous.text in {"/", "+", "over", "&"}
            bracketed = (
                previous is not None and previous.text == "(" and i + 1 < len(items) and items[i + 1].text == ")"
            )
            if bracketed and not _labelled_otherwise(items, i - 2):
                item.role = "rated"
            elif paired and i > 1 and items[i - 2].kind == NUMBER:
                item.role = items[i - 2].role
            else:
                item.role = role
            followed = i + 1 < len(items) and items[i + 1].meaning.joint == "and"
            if not followed and not (strong and i + 1 < len(items) and items[i + 1].kind == NUMBER):
                role = None
        elif item.kind in {BREAK, COMMA} or item.meaning.other_part:
            role = None
        elif new in {"good", "bad", "open"} or (item.kind == LABEL and new is None):
            pass
        elif new is not None and item.kind in {ROLE, LABEL}:
            role = _next_role(role, new, item, previous)
            strong = role in _OWN_PARTS
        if item.kind not in {FILLER, ROLE}:
            previous = item


def _labelled_otherwise(items: list[Item], i: int) -> bool:
    """Whether a label of no capacitor stands there: the number in brackets after it is its reading, ``SH (12)``."""
    if i < 0 or items[i].kind != LABEL:
        return False
    label = lexicon().labels.get(str(items[i].meaning.label))
    return label is not None and label.section is None


def _next_role(role: str | None, new: str, item: Item, previous: Item | None) -> str | None:
    if item.text in {"of", "to"} and (previous is None or previous.kind != NUMBER):
        return role
    if new == "new" and role in _OWN_PARTS:
        return role
    if new == "read" and role in {"found", "after", "new", "rated"}:
        return "after" if role == "new" else role
    if new == "fitted" and role == "advised":
        return role
    return new


def _readings(items: list[Item], marks: list[Mark | None], refrigerant: str | None) -> list[Told]:
    labels = {item.meaning.label for item in items if item.kind == LABEL}
    units = {item.unit for item in items}
    fan_cap = "fan" in labels and any(item.meaning.label == "fan" and item.text != "fan" for item in items)
    context = Context(
        refrigerant=refrigerant,
        speaks_of_capacitors="uF" in units or fan_cap or not labels.isdisjoint(CAPACITOR_LABELS),
        speaks_of_amps="amp" in units or not labels.isdisjoint(AMP_WORDS) or _compressor_number(items, labels),
        both_letters=labels >= LETTERS,
    )
    returns = "return" in labels
    out: list[Told] = []
    stretch: list[Item] = []
    first = 0
    for i, item in enumerate([*items, _END]):
        if item.kind == LABEL and not _counts(items, i, returns=returns):
            item.kind = OTHER
        if item.kind in _ENDERS or (item.text == "to" and stretch and items[i - 1].kind == LABEL):
            if stretch:
                context.priced = item.text.startswith("$")
                for matched in match_stretch(stretch, item, context):
                    for said in matched.said:
                        out.append(Told(said, marks[first], matched.start, matched.end))
                    _remember(matched.said, context)
                stretch = []
            if item.kind == BREAK:
                context.amps = context.line_temps = False
            continue
        if item.kind in {ROLE, FILLER} or (item.unit == "pct" and not labels & HUMIDITY):
            continue
        if item.kind == LABEL:
            if _only_says_how(items, i, stretch):
                continue
            _set_context(items, i, context)
        if not stretch:
            first = i
        stretch.append(item)
        if len(stretch) == LONGEST_STRETCH:
            found = match_stretch(stretch, None, context)
            out += [Told(said, marks[first], one.start, one.end) for one in found for said in one.said]
            stretch = []
    return out


_END = Item(BREAK, "", 0, 0)


def _compressor_number(items: list[Item], labels: set[str | None]) -> bool:
    """Whether a bare number stands after "comp": most likely amps, so that a small one after "fan" is amps too."""
    if "compressor" not in labels:
        return False
    pairs = pairwise(items)
    return any(one.meaning.label == "compressor" and after.kind == NUMBER and not after.unit for one, after in pairs)


def _counts(items: list[Item], i: int, *, returns: bool) -> bool:
    """Whether a label with another meaning is one here: ``sat`` is supply air beside return air alone."""
    return items[i].meaning.label != "supply_if_return" or returns


def _only_says_how(items: list[Item], i: int, stretch: list[Item]) -> bool:
    """Whether a label says nothing here: ``head high 455``, ``herm side of the capacitor``."""
    name = items[i].meaning.label
    after = items[i + 1] if i + 1 < len(items) else None
    if name in {"low", "high"} and i and (after is None or after.text != "/"):
        return items[i - 1].kind in {LABEL, ROLE, FILLER} or items[i - 1].unit == "pct"
    if name == "cap" and stretch and stretch[-1].kind == LABEL:
        return lexicon().labels[str(stretch[-1].meaning.label)].section in {"herm", "fan", "blower"}
    return False


def _set_context(items: list[Item], i: int, context: Context) -> None:
    name = items[i].meaning.label
    after = items[i + 1] if i + 1 < len(items) else None
    if name == "amps":
        context.amps = after is not None and (after.text in {":", "("} or after.kind in {LABEL, NUMBER})
    elif name == "line_temps":
        context.line_temps = True


def _remember(said: tuple[Said, ...], context: Context) -> None:
    sections = {one.field.removeprefix("part_").removeprefix("cap_").split("_")[0] for one in said}
    if sections <= {"herm", "fan", "blower"}:
        context.last_section = sections.pop() if len(sections) == 1 else None
    fitted = tuple(one.value or 0.0 for one in said if one.kind == PART and one.text == FITTED)
    if fitted:
        context.fitted = fitted


def _opens(items: list[Item], marks: list[Mark | None]) -> list[Told]:
    """Read a section said to be open (``herm open``, ``OL on fan side``): 0 microfarads."""
    out: list[Told] = []
    capacitors = any(item.kind == LABEL and item.meaning.label in CAPACITOR_LABELS for item in items)
    for i, item in enumerate(items):
        if item.meaning.role != "open":
            continue
        before = i - 1
        while before >= 0 and (items[before].kind in {ROLE, FILLER} or items[before].text in {":", "-"}):
            before -= 1
        after = i + 1
        while after < len(items) and items[after].kind == FILLER:
            after += 1
        for at in (before, after if after > i + 1 or item.text != "open" else -1):
            if not 0 <= at < len(items) or items[at].kind != LABEL:
                continue
            section = lexicon().labels[str(items[at].meaning.label)].section
            if section in {"herm", "fan", "blower"} and (items[at].text != "fan" or capacitors):
                start, end = min(items[at].start, item.start), max(items[at].end, item.end)
                out.append(Told(Said(READING, f"{section}_uf", 0.0), marks[i], start, end))
                break
    return out


def _checks(items: list[Item], marks: list[Mark | None], told: list[Told]) -> list[Told]:
    """Read ``cap good``: the capacitor was checked, no number was written down."""
    read = {one.mark for one in told if one.said.field.split("_")[0] in {"herm", "fan", "blower"}}
    for i, item in enumerate(items):
        if item.kind != LABEL or item.meaning.label != "cap" or marks[i] in read:
            continue
        good = _good_after(items, i)
        if good is not None and not _negated(items, i):
            return [Told(Said(CHECKED, "capacitor", None, "good"), marks[i], item.start, good.end)]
    return []


def _good_after(items: list[Item], i: int) -> Item | None:
    """Return the word that calls the thing before it good, where nothing between says otherwise."""
    for other in items[i + 1 : i + 6]:
        if other.meaning.role == "good":
            return other
        between = other.kind in {ROLE, FILLER, JOINT} or other.unit == "pct"
        if not between or other.meaning.role in {"bad", *_OWN_PARTS}:
            return None
    return None


def _negated(items: list[Item], i: int) -> bool:
    return i > 0 and items[i - 1].text in {"no", "not", "new"}
