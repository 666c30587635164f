"""Errors that stop a run or a file; each is one sentence with a slug.

A data problem is a finding (see ``pipeline.findings``), never one of these.
"""

from __future__ import annotations

VALUE_SHOWN = 40


def cut(value: str) -> str:
    """Return ``value`` short enough for a message: at most 40 characters, on one line."""
    flat = "".join(c if c.isprintable() else " " for c in value)
    return flat if len(flat) <= VALUE_SHOWN else flat[: VALUE_SHOWN - 1] + "…"


class PipelineError(Exception):
    """Base of every error a user may see; ``exit_status`` is the contract's."""

    slug = "own-fault"
    exit_status = 4

    def __init__(self, message: str, *, slug: str | None = None) -> None:
        super().__init__(message)
        self.message = message
        if slug is not None:
            self.slug = slug

    def sentence(self) -> str:
        """Return the one sentence printed to the user, with its slug."""
        return f"{self.message} [{self.slug}]"


class UsageError(PipelineError):
    """The command or a setting is wrong (exit status 2)."""

    slug = "usage"
    exit_status = 2


class FileRefused(PipelineError):
    """One input file cannot be read or mapped; the other files go on (exit status 3 if none is left)."""

    slug = "file-refused"
    exit_status = 3


class NothingUsable(PipelineError):
    """No input file gave a usable row (exit status 3)."""

    slug = "nothing-usable"
    exit_status = 3


class StoreError(PipelineError):
    """The store is in use, damaged, newer than this program, or cannot be written (exit status 4)."""

    slug = "store"
    exit_status = 4
