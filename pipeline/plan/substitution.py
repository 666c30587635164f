"""Which capacitors on the truck serve for the one that is needed."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations_with_replacement, product

MOST_CANS = 3
"""More cans than this beside one unit are no repair (common practice, no source)."""
_SIZE = re.compile(
    r"\s*(?P<first>\d+(?:[.,]\d+)?)(?:\s*(?:[+/x]|and)\s*(?P<second>\d+(?:[.,]\d+)?))?\s*(?:[uµμ]f|mfd)?"
    r"[\s@,;/-]*(?:(?P<volts>\d{3})(?:\s*/\s*(?P<other>\d{3}))?\s*(?:v(?:ac)?)?)?\s*",
    re.IGNORECASE,
)


@dataclass(frozen=True, order=True)
class Capacitor:
    """One can: microfarads of its sections (second 0.0 = a single) and its voltage rating."""

    first_uf: float
    second_uf: float
    volts: float

    @property
    def size(self) -> str:
        """The label, ``45+5 uF 440 V``."""
        second = f"+{self.second_uf:g}" if self.second_uf else ""
        return f"{self.first_uf:g}{second} uF {self.volts:g} V"

    @property
    def sections(self) -> tuple[float, ...]:
        """Microfarads of each section."""
        return (self.first_uf, self.second_uf) if self.second_uf else (self.first_uf,)


@dataclass(frozen=True, order=True)
class Need:
    """What a unit asks for: the can on its label and the label's tolerance."""

    can: Capacitor
    tolerance_pct: float = 6.0


Cans = tuple[tuple[Capacitor, int], ...]
"""Kinds and how many of each, in order."""


@dataclass(frozen=True, order=True)
class Service:
    """One way to serve a need: how many cans of which kind, and what it takes.

    ``stop_gap`` is true where sections are put in parallel to make up the microfarads: it runs, and the size on the
    label is ordered (common practice, no source).
    """

    cans: Cans
    jumper: bool
    unused_section: bool
    stop_gap: bool


def parse_size(text: str, volts: float | None = None, default_volts: float = 440.0) -> Capacitor | None:
    """Return the capacitor that a written size names, or None.

    Examples
    --------
    >>> parse_size("45/5 370V").size
    '45+5 uF 370 V'
    >>> parse_size("7.5", volts=440).size
    '7.5 uF 440 V'
    """
    found = _SIZE.fullmatch(text)
    if found is None:
        return None
    first, second = (float((found[key] or "0").replace(",", ".")) for key in ("first", "second"))
    said = [float(found[key]) for key in ("volts", "other") if found[key]]
    if first <= 0:
        return None
    # a label that says 370/440 is good for the higher one
    return Capacitor(max(first, second), min(first, second), max(said) if said else (volts or default_volts))


def substitute(need: Need, on_hand: Iterable[Capacitor], *, stop_gaps: bool = True) -> tuple[Service, ...]:
    """Return every way to serve ``need`` from the kinds in ``on_hand``, plainest first.

    Parameters
    ----------
    need
        The can wanted, with its tolerance in percent.
    on_hand
        Kinds of capacitor there are; how many of each is the caller's business.
    stop_gaps
        Whether sections in parallel are told too.

    Returns
    -------
    tuple of Service
        None of them holds a can that it could do without. Empty where nothing serves.

    Notes
    -----
    Microfarads match where they lie within the label's tolerance of the rating asked for; a voltage rating equal or
    higher serves, a lower one never. Two singles with their commons jumpered serve for a dual; a dual serves for a
    single with one section unused; parallel sections add. At most two sections make up one value and three cans one
    service. Rules: common practice, the first two also printed in trade articles on replacing run capacitors.

    Examples
    --------
    >>> kinds = [parse_size("45 440V"), parse_size("5 440V"), parse_size("45 370V")]
    >>> ways = substitute(Need(parse_size("45+5 440V")), kinds)
    >>> [(can.size, n) for can, n in ways[0].cans], ways[0].jumper, ways[0].stop_gap
    ([('5 uF 440 V', 1), ('45 uF 440 V', 1)], True, False)
    """
    kinds = sorted({can for can in on_hand if can.volts >= need.can.volts})
    places = [(can, index) for can in kinds for index in range(len(can.sections))]
    groups = [_groups(target, places, need.tolerance_pct, stop_gaps) for target in need.can.sections]
    ways: dict[Cans, Service] = {}
    for parts in _combined(groups):
        way = _service(parts)
        held = ways.get(way.cans)
        if sum(count for _, count in way.cans) <= MOST_CANS and (held is None or _plainness(way) < _plainness(held)):
            ways[way.cans] = way
    kept = [way for way in ways.values() if not _has_less(way.cans, ways)]
    return tuple(sorted(kept, key=lambda way: (_plainness(way), _distance(way, need), way.cans)))


Place = tuple[Capacitor, int]


def _groups(target: float, places: Sequence[Place], tolerance_pct: float, parallel: bool) -> list[tuple[Place, ...]]:
    """Return the sections, one or two in parallel, that make up ``target`` microfarads."""
    slack = target * tolerance_pct / 100 + 1e-9
    small = [place for place in places if place[0].sections[place[1]] <= target + slack]
    found: list[tuple[Place, ...]] = [(place,) for place in small if abs(place[0].sections[place[1]] - target) <= slack]
    for pair in combinations_with_replacement(small, 2) if parallel else ():
        if abs(sum(can.sections[index] for can, index in pair) - target) <= slack:
            found.append(pair)
    return found


def _combined(groups: Sequence[Sequence[tuple[Place, ...]]]) -> Iterable[tuple[tuple[Place, ...], ...]]:
    if len(groups) == 1:
        yield from ((group,) for group in groups[0])
        return
    yield from ((first, second) for first in groups[0] for second in groups[1])


def _service(parts: tuple[tuple[Place, ...], ...]) -> Service:
    used: dict[Capacitor, dict[int, int]] = {}
    for can, index in (place for group in parts for place in group):
        uses = used.setdefault(can, {})
        uses[index] = uses.get(index, 0) + 1
    # sections of one kind share cans as far as they go
    cans = tuple(sorted((can, max(uses.values())) for can, uses in used.items()))
    many = sum(count for _, count in cans) > 1
    parallel = any(len(group) > 1 for group in parts)
    spare = sum(len(can.sections) * count for can, count in cans) > sum(len(group) for group in parts)
    return Service(cans, jumper=many or parallel, unused_section=spare, stop_gap=parallel)


def _plainness(way: Service) -> tuple[bool, int, bool]:
    return way.stop_gap, sum(count for _, count in way.cans), way.unused_section


def _distance(way: Service, need: Need) -> float:
    """Return how far the cans are from the label asked for, in microfarads and volts."""
    have = sorted((uf for can, count in way.cans for uf in can.sections * count), reverse=True)
    off = sum(abs(uf - wanted) for uf, wanted in zip(have, need.can.sections, strict=False))
    return off + sum(can.volts - need.can.volts for can, _ in way.cans) / 1000


def _has_less(cans: Cans, ways: Collection[Cans]) -> bool:
    """Return whether a part of ``cans`` is a service by itself."""
    choices = [range(count + 1) for _, count in cans]
    parts = (tuple((can, n) for (can, _), n in zip(cans, picked, strict=True) if n) for picked in product(*choices))
    return any(part != cans and part in ways for part in parts)
