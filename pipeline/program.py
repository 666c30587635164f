"""Which program worked out what is stored: another one may have left rows that this one cannot read."""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path

import sql
from pipeline import __version__
from pipeline.errors import StoreError

TEXTS = frozenset((".py", ".toml", ".sql", ".j2", ".csv", ".json"))
"""Endings of the files whose text decides what a run stores."""


@cache
def program_version() -> str:
    """Return the version with a digest of the program's own text, so that two programs of one version are told apart.

    The pages' templates and code do not count: what is stored does not depend on them.
    """
    text = hashlib.sha256()
    for root in (Path(__file__).parent, Path(sql.__file__).parent):
        for file in sorted(path for path in root.rglob("*") if path.suffix in TEXTS):
            text.update(file.relative_to(root).as_posix().encode() + b"\0" + file.read_bytes() + b"\0")
    return f"{__version__}+{text.hexdigest()[:12]}"


def refuse_rows_of_another(written_by: str | None) -> None:
    """Raise where another program worked out what is stored: pages are made from rows that this one knows.

    Parameters
    ----------
    written_by : str or None
        The version that the last run kept, None where there was no run yet.

    Raises
    ------
    StoreError
        With what to do.
    """
    if written_by is not None and written_by != program_version():
        raise StoreError(
            "What the store holds was worked out by another version of this program: "
            "`preseason run` with any export, an old one too, works it out again",
            slug="store-older",
        )
