"""What the words around a number make of it: found, new, rated, fitted, advised, an aim, or nothing of today."""

from __future__ import annotations

from pipeline.enrich.capacitor_facts import SECTIONS
from pipeline.enrich.notes.chunks import BREAK, COMMA, NUMBER, STOPS
from pipeline.enrich.notes.items import (
    FILLER,
    JOINT,
    LABEL,
    OTHER,
    PASSING,
    ROLE,
    WEIGHT,
    Item,
    is_cap,
    names_year,
    size_at,
)
from pipeline.enrich.notes.lexicon import lexicon
from pipeline.enrich.notes.sections import VOID

CLEARING = frozenset({BREAK, COMMA, WEIGHT})
SAYING = frozenset({ROLE, LABEL})
_OWN_PARTS = frozenset({"fitted", "advised"})
SIZED_ROLES = frozenset({None, "new", "old", "fitted", "rated", "found", "after"})
"""Roles that say another thing of a size than of a reading, or that a verb after the size changes."""
INSTEAD = frozenset({"to", "with", "w", "for"})
EXCHANGES = frozenset({
    "replaced", "replacing", "repl", "rplcd", "replcd", "replacd", "changed", "changing", "swapped", "swap", "rr", "r",
    "chg", "chgd", "upgraded", "cambie", "cambio",
})  # fmt: skip
"""Verbs said of the old part as well as of the new one."""
DENIALS = frozenset(
    {"not", "didnt", "never", "no", "wasnt", "without", "couldnt", "cant", "hasnt", "havent", "dont", "wont", "isnt"}
)
AIMS = frozenset({
    "target", "required", "req", "goal", "tgt", "needed", "nameplate", "plate", "per plate", "per nameplate",
    "per label", "per spec", "per chart", "per mfg", "on plate", "rla", "fla", "lra", "mca",
})  # fmt: skip
OTHERS = frozenset({
    "customer", "cust", "owner", "homeowner", "someone", "somebody", "handyman", "neighbor", "tenant", "landlord",
    "company", "they", "husband", "he", "she", "cliente",
})  # fmt: skip
"""Who may have fitted a part before this visit."""
BESIDE_AIM = frozenset({"below", "under", "above", "over", "off"})
PAIRING = frozenset({"/", "+", "over", "&"})


def give_roles(items: list[Item]) -> bool:
    """Give each number the role that the words around it set; return whether the note tells of something fitted.

    A role ends with its number and with the clause. Before a number it is the last word's; a size without one has that
    of a verb right after it (``40/5 cap installed``).
    """
    role: str | None = None
    strong = fits = lasting = False
    previous: Item | None = None
    for i, item in enumerate(items):
        new = item.meaning.role
        if item.kind == NUMBER:
            paired = previous is not None and previous.kind == JOINT and previous.text in PAIRING
            after = items[i + 1].text if i + 1 < len(items) else ""
            bracketed = previous is not None and previous.text == "(" and _is_bracketed(items, i, role)
            if item.role is not None:
                pass  # the second of two sizes, given its role with the first
            elif after in AIMS and _is_aim(items, i + 1):
                item.role = "target"
            elif (after in BESIDE_AIM and _is_distance(items, i)) or (i and items[i - 1].text == "within"):
                item.role = VOID
            elif role is None and after == "before":
                item.role = "prior"
            elif bracketed and not _labelled_otherwise(items, i - 2):
                size = size_at(items, i)
                item.role = (size is not None and _of_size(items, size, None)) or "rated"
                fits = fits or item.role == "fitted"
            elif paired and i > 1 and items[i - 2].kind == NUMBER:
                item.role = items[i - 2].role
            elif role in SIZED_ROLES and (size := size_at(items, i)) is not None:
                item.role = _of_size(items, size, role)
                fits = fits or item.role == "fitted"
            elif role is None and lasting and previous is not None and _names_section(previous):
                item.role = "after"  # "fan now 5.1 herm 45.6"
            else:
                item.role = "found" if role == "old" else role
            lasting = lasting or item.role == "after"
            followed = _and_another(items, i + 1, strong=strong)
            if not followed and not (strong and i + 1 < len(items) and items[i + 1].kind == NUMBER):
                role = None
        elif item.kind in CLEARING:
            role = None
            lasting = lasting and item.kind != BREAK
        elif item.meaning.other_part:
            listed = i + 1 < len(items) and (items[i + 1].text in {"+", "&"} or items[i + 1].meaning.joint == "and")
            role = role if listed else None
        elif role in _OWN_PARTS and names_year(item):
            role = "rated"  # fitted then: what hangs there now
        elif new in {"good", "bad", "open"} or (item.kind == LABEL and new is None):
            pass
        elif new is not None and item.kind in SAYING:
            role = _next_role(role, new, item, previous)
            if role == "fitted" and i and items[i - 1].text in DENIALS:
                role = VOID
            elif role == "fitted" and _by_others(items, i):
                role = "rated"  # what hangs there now
            fits = fits or role in {"fitted", "new"}
            strong = role in _OWN_PARTS
        if item.kind not in PASSING:
            previous = item
    return fits


def _of_size(items: list[Item], end: int, role: str | None) -> str | None:
    """Return the role of a size at ``i``: of ``old 40/5`` nothing was measured, ``40/5 cap installed`` is a part.

    Of ``changed 35/5 to 40/5`` only the second was fitted. A part called new that was then declined is advised.
    """
    if role == "old":
        read = end + 1 < len(items) and items[end].meaning.role == "read" and items[end + 1].kind == NUMBER
        return "rated" if read else VOID
    if role == "fitted":
        return VOID if _gives_way(items, end) else role
    if end < len(items) and items[end].text == "in" and (end + 1 == len(items) or items[end + 1].kind in STOPS):
        return "fitted"
    if role == "found" and end < len(items) and is_cap(items[end]):
        return VOID  # "found 45/5 cap swollen"
    at = end
    while at < len(items) and _leads_to_verb(items, at):
        at += 1
    if role == "new" and at < len(items) and items[at].kind == COMMA:
        at += 1
        while at < len(items) and at < end + 6 and items[at].kind in {FILLER, OTHER}:
            at += 1
        return "advised" if at < len(items) and items[at].meaning.role == "advised" else role
    verb = items[at] if at < len(items) else None
    if verb is not None and verb.kind in {COMMA, OTHER}:
        verb, at = _verb_apart(items, at)
    if role is None and verb is not None and verb.meaning.role == "rated" and not _governs(items, at):
        return "rated"
    if verb is None or verb.meaning.role not in _OWN_PARTS or _governs(items, at):
        return role
    if verb.meaning.role == "fitted" and verb.text.split()[0] in EXCHANGES:
        return role if role is not None else VOID  # which of the two is not said
    return verb.meaning.role


def _is_bracketed(items: list[Item], i: int, role: str | None) -> bool:
    """Whether a bracket closes after the number at ``i``, or after the size that begins there."""
    size = size_at(items, i) if role is None else None
    at = i + 1 if size is None else size
    return at < len(items) and items[at].text == ")"


def _names_section(item: Item) -> bool:
    label = lexicon().labels.get(str(item.meaning.label)) if item.kind == LABEL else None
    return label is not None and label.section in SECTIONS


def _by_others(items: list[Item], i: int) -> bool:
    """Whether a part was fitted by another than the technician: ``customer replaced cap with a 35/5``."""
    at = i - 1
    while at >= 0 and (items[at].kind == FILLER or items[at].text in {"already", "previously"}):
        at -= 1
    if at >= 0 and items[at].text in {"tech", "guy", "contractor", "technician"}:
        return at > 0 and items[at - 1].text in {"previous", "prior", "last", "other", "another", "first"}
    return at >= 0 and items[at].text in OTHERS


def _leads_to_verb(items: list[Item], at: int) -> bool:
    """Whether a word may stand between a size and the verb said of it: ``40/5 cap was installed``."""
    item = items[at]
    if item.kind == FILLER or item.text in {"-", ")"} or (item.kind == LABEL and is_cap(item)):
        return True
    passive = item.text in {"was", "were", "is"} and at + 1 < len(items)
    return passive and items[at + 1].meaning.role in _OWN_PARTS


def _gives_way(items: list[Item], end: int) -> bool:
    """Whether another size follows that was fitted in this one's place: ``replaced the 35/5 cap with a 40/5``."""
    at = end
    while at < len(items) and (items[at].kind == FILLER or items[at].text == "to" or is_cap(items[at])):
        at += 1
    other = size_at(items, at) if any(item.text in INSTEAD for item in items[end:at]) else None
    for n in range(at, other or at):
        items[n].role = "fitted"
    return other is not None


def _verb_apart(items: list[Item], at: int) -> tuple[Item | None, int]:
    """Return a verb that stands alone after a size and a few words: ``40/5 in stock, installed.``"""
    for n in range(at, min(len(items), at + 4)):
        item = items[n]
        if item.kind == BREAK or item.kind in {NUMBER, LABEL} or item.meaning.other_part:
            break
        if item.meaning.role == "fitted":
            alone = n + 1 == len(items) or items[n + 1].kind in STOPS
            own = alone and item.text not in EXCHANGES and items[n - 1].text not in DENIALS
            return (item, n) if own else (None, at)
    return None, at


def _governs(items: list[Item], at: int) -> bool:
    """Whether a verb is said of what comes after it: ``40/5 replaced with 45/5``."""
    at += 1
    while at < len(items) and (items[at].kind in PASSING or items[at].meaning.joint):
        at += 1
    if at >= len(items):
        return False
    label = lexicon().labels.get(str(items[at].meaning.label)) if items[at].kind == LABEL else None
    section = label is not None and label.section is not None
    return items[at].kind == NUMBER or section or items[at].meaning.other_part


def _and_another(items: list[Item], i: int, *, strong: bool) -> bool:
    """Whether "and" follows, after a part with its name between: ``installed 35 mfd run cap and 5 mfd fan cap``."""
    while strong and i < len(items) and (items[i].kind == FILLER or (items[i].kind == LABEL and is_cap(items[i]))):
        i += 1
    return i + 1 < len(items) and items[i].meaning.joint == "and" and items[i + 1].kind == NUMBER


def _is_aim(items: list[Item], i: int) -> bool:
    """Whether the word after a number makes it an aim: ``sc 10 per plate``, ``10 required``."""
    at = i + 1
    while at < len(items) and (items[at].kind == FILLER or items[at].text in {":", "-"}):
        at += 1
    return at == len(items) or items[at].kind != NUMBER


def _is_distance(items: list[Item], i: int) -> bool:
    """Whether a number is how far a reading is from its aim: ``sc 3 below target``."""
    return i + 2 < len(items) and items[i + 2].text in AIMS


def _labelled_otherwise(items: list[Item], i: int) -> bool:
    """Whether a label of no capacitor stands there: the number in brackets after it is its reading, ``SH (12)``."""
    if i < 0 or items[i].kind != LABEL:
        return False
    label = lexicon().labels.get(str(items[i].meaning.label))
    return label is not None and label.section is None


def _next_role(role: str | None, new: str, item: Item, previous: Item | None) -> str | None:
    if role == VOID:
        return role if new == "new" else new
    if new == "rated" and role in {"new", "fitted", "advised"} and item.text in {"on a", "on an", "is a", "de"}:
        return role
    if item.text in {"of", "to"} and (previous is None or previous.kind != NUMBER):
        return role
    if new == "new" and role in _OWN_PARTS:
        return role
    if new == "read" and role in {"found", "after", "new", "rated", "old"}:
        return {"new": "after", "old": "found"}.get(role, role)
    if new == "fitted" and role == "advised":
        return role
    return new
