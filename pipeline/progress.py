"""What a run has gathered so far, and the lines it ends with."""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from pipeline.checks.check import Account
from pipeline.intake import Refused, Taken
from pipeline.shop_folder import MAPPING
from pipeline.store import load

Say = Callable[[str], None]
NO_VISITS_YET = (
    "no visits are stored yet, so there are no pages: what was stored waits for a file of visits, "
    "with a date and a unit or address on each row"
)
"""The last line of a run on a store without a visit."""


@dataclass(frozen=True)
class Summary:
    """One line per result, and whether any row or value was rejected or a file refused."""

    lines: list[str]
    rejected: bool


@dataclass
class Progress:
    """What a run has gathered so far."""

    staged: list[tuple[Taken, tuple[load.Staged, ...]]] = field(default_factory=list)
    refused: list[Refused] = field(default_factory=list)
    repeats: list[str] = field(default_factory=list)
    accounts: list[tuple[str, Account]] = field(default_factory=list)
    seconds: dict[str, float] = field(default_factory=dict)


class timed:  # noqa: N801 - reads as a word at its place
    """Adds the seconds of a ``with`` block to the run's record."""

    def __init__(self, progress: Progress, stage: str) -> None:
        self.progress, self.stage = progress, stage

    def __enter__(self) -> None:
        self.began = time.perf_counter()

    def __exit__(self, *_: object) -> None:
        spent = time.perf_counter() - self.began
        self.progress.seconds[self.stage] = self.progress.seconds.get(self.stage, 0.0) + spent


def refuse(item: Refused, progress: Progress, say: Say) -> None:
    """Note a file that was refused, and say why."""
    progress.refused.append(item)
    say(item.sentence)


def tell(item: Taken, say: Say) -> None:
    """Say what was understood of a file, and which of its columns are not used."""
    for note in item.notes:
        say(f"{item.file}: {note}.")
    if item.unmapped:
        named = ", ".join(f'"{header}"' for header in item.unmapped)
        say(f"{item.file}: not used, name them in {MAPPING} if they matter: {named}. [unmapped]")


def lines_of(progress: Progress) -> list[str]:
    """Return the lines of the summary: a file each, then files met again and files refused."""
    lines = [f"{file}: {counts(account)}" for file, account in progress.accounts]
    if progress.repeats:
        lines.append(f"{len(progress.repeats)} files already imported, not read again: {', '.join(progress.repeats)}")
    if progress.refused:
        lines.append(f"{len(progress.refused)} files refused: {', '.join(item.file for item in progress.refused)}")
    return lines


def counts(account: Account) -> str:
    """Return where the records of one file went, as a sum."""
    return (
        f"{account.rows_read} rows read = {account.rows_stored} stored + {account.rows_unchanged} unchanged + "
        f"{account.rows_rejected} rejected + {account.rows_skipped} skipped; {account.values_rejected} values rejected"
    )


def any_rejected(accounts: Sequence[tuple[str, Account]]) -> bool:
    """Return whether any file had a row or a value rejected."""
    return any(account.rows_rejected or account.values_rejected for _, account in accounts)


def only_waiting(progress: Progress) -> bool:
    """Return whether rows of other tables were stored and no file was meant for visits: they wait until visits come."""
    meant = progress.refused or any(taken.parsed.table == "visits" for taken, _ in progress.staged)
    kept = progress.repeats or any(account.rows_stored + account.rows_unchanged for _, account in progress.accounts)
    return not meant and bool(kept)


def nothing_usable(progress: Progress) -> str:
    """Return the one sentence for an input without a usable visit, naming the first reason: of visits if it can."""
    staged = sorted((item for item, _ in progress.staged), key=lambda item: item.parsed.table != "visits")
    findings = [item.findings.sort("scope", maintain_order=True) for item in staged if item.findings.height]
    if progress.refused:
        return f"no visit could be used, nothing was changed; first: {_without_slug(progress.refused[0].sentence)}"
    if findings:
        file, line, said = findings[0].select("source_file", "source_line", "message").row(0)
        return f"no visit could be used, nothing was changed; first: {file} line {line}, {said}"
    return "no visits among the files: give a file of visits, with a date and a unit or address on each row"


def _without_slug(sentence: str) -> str:
    return re.sub(r" \[[a-z-]+\]$", "", sentence)
