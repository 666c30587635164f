"""What to do on the visit: the leading reason's steps, what else to look at, what to load, what to beware of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reports.advice import OTHER, Reason, advice

WITH_CAPACITOR = frozenset({"run_capacitor", "condenser_fan_motor", "compressor", "blower_motor", OTHER})
"""Causes whose visit needs the unit's capacitor sizes on the truck."""
MOST_OTHERS = 3


@dataclass(frozen=True)
class Todo:
    """The box at the top of a unit's page."""

    first: str
    steps: tuple[str, ...]
    also: tuple[tuple[str, str], ...]
    take: str
    cautions: tuple[str, ...]


def todo(
    leading: Reason,
    reasons: Sequence[Reason],
    verdict: str | None,
    capacitor: str,
    weak: Sequence[tuple[str, str]] = (),
) -> Todo:
    """Return what to do.

    Parameters
    ----------
    leading, reasons
        The reason that leads, and all of them.
    verdict
        The newest charge verdict that could be given; ``low`` or ``high`` puts the charge on the list.
    capacitor
        The unit's capacitor sizes in words, or nothing.
    weak
        Capacitor sections last read out of tolerance that the leading reason does not tell of, each with what to do.
    """
    entry = advice()[leading.cause]
    causes = [reason.cause for reason in reasons]
    if verdict in {"low", "high"}:
        causes.append("refrigerant_leak")
    if verdict == "airflow_first":
        causes.append("airflow")
    told = {leading.cause, OTHER, *(["run_capacitor"] if weak else [])}
    others = [cause for cause in dict.fromkeys(causes) if cause not in told][:MOST_OTHERS]
    worked_on = [leading.cause, *(["run_capacitor"] if weak else []), *others]
    on_file = f"On this unit: {capacitor}." if capacitor else "Its size is not on file: ask for a photo of the label."
    sizes = f" {on_file}" if weak or leading.cause in WITH_CAPACITOR else ""
    return Todo(
        first=entry.first,
        steps=entry.steps,
        also=(*weak, *((advice()[cause].label, advice()[cause].first) for cause in others)),
        take=entry.take + sizes,
        cautions=tuple(dict.fromkeys(c for cause in worked_on for c in advice()[cause].cautions)),
    )
