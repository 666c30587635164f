"""What to do first about a cause, read from ``advice.toml``; and how a stored reason splits into cause and text."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources

from reports.format import cut, reason_text, sentence_start

OTHER = "other"
SCREENING = "A flag is screening from past readings, not a diagnosis: the visit decides."
DEFER = "Local code, the maker's data and your licence come before anything on this page."


@dataclass(frozen=True)
class Advice:
    """Plain words, steps, load and cautions of one cause."""

    label: str
    plain: str
    first: str
    steps: tuple[str, ...]
    take: str
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class Reason:
    """One reason in words: the cause's label and the rest of the sentence (may be empty)."""

    cause: str
    label: str
    text: str


@cache
def advice() -> Mapping[str, Advice]:
    """Return the advice by cause word."""
    raw = tomllib.loads(resources.files("reports").joinpath("advice.toml").read_text("utf-8"))
    cautions = raw["cautions"]
    return {
        cause: Advice(
            label=spec["label"],
            plain=spec["plain"],
            first=spec["first"],
            steps=tuple(spec["steps"]),
            take=spec["take"],
            cautions=tuple(cautions[key] for key in spec["cautions"]),
        )
        for cause, spec in raw["causes"].items()
    }


def label(cause: str | None) -> str:
    """Return how a page names a cause word; one without advice is shown as its words."""
    if not cause:
        return "Not written down"
    known = advice().get(cause)
    return known.label if known else sentence_start(cut(cause.replace("_", " "), 60))


def split_reason(reason: str | None) -> Reason:
    """Return the cause word that a reason begins with, its label, and the rest.

    Examples
    --------
    >>> split_reason("run_capacitor: hermetic section 13.5 % low").text
    'hermetic section 13.5 % low'
    >>> split_reason("made of sand").cause
    'other'
    """
    text = (reason or "").strip()
    found = re.match(r"[a-z_]+", text)
    cause = found.group() if found and found.group() in advice() else OTHER
    rest = text[found.end() :] if found and cause == found.group() else text
    return Reason(cause, label(cause), reason_text(rest.lstrip(" :,;–-").strip()))


def split_reasons(reasons: str | None) -> tuple[Reason, ...]:
    """Return every reason of a text joined by ``; ``; a part without a cause word belongs to the reason before it."""
    joined: list[str] = []
    for part in (reasons or "").split("; "):
        begins = re.match(r"[a-z_]+", part.strip())
        if joined and not (begins and begins.group() in advice()):
            joined[-1] += f"; {part}"
        elif part.strip():
            joined.append(part)
    return tuple(split_reason(part.removesuffix("; ")) for part in joined)
