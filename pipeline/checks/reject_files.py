"""Under which name a rejected file is written, and when an existing one is the user's and left alone."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass

PLAIN_NAME = re.compile(r"[\w() \[\]+,;&%#@!-]+(\.[\w() \[\]+,;&%#@!-]+)*")
DIGEST_SHOWN = 8


@dataclass(frozen=True)
class Writing:
    """What to do in the folder of rejected files for one source file; names only, nothing is touched here.

    Attributes
    ----------
    write
        Name to write the text under, or null if nothing is to be written.
    remove
        Files of ours that are out of date and untouched by the user.
    keep
        Files that the user has edited; they stay as they are.
    """

    write: str | None
    remove: tuple[str, ...]
    keep: tuple[str, ...]


def rejected_name(source_file: str) -> str:
    """Return the file name for the rejected records of ``source_file``, one per source, safe on every system.

    ``jobs.csv`` stays ``jobs.csv``. A path or an odd name is flattened and carries eight digits of its digest, so
    that two sources never share a file.
    """
    stem = source_file[:-4] if source_file.lower().endswith(".csv") else source_file
    if PLAIN_NAME.fullmatch(stem) and source_file.endswith(".csv"):
        return source_file
    flat = re.sub(r"[^\w() -]+", "_", stem).strip("_ ")[-80:] or "file"
    return f"{flat}-{hashlib.sha256(source_file.encode()).hexdigest()[:DIGEST_SHOWN]}.csv"


def decide_write(name: str, new_digest: str | None, on_disk: Mapping[str, str], written: Mapping[str, str]) -> Writing:
    """Return where the rejected records of one source go.

    A file is ours while its digest is the one we last wrote under that name; any other file is the user's.

    Parameters
    ----------
    name
        From ``rejected_name``.
    new_digest
        SHA-256 of the text to be written; null if no record is left to reject.
    on_disk
        Digest of each file now in the folder, by name, those just written included.
    written
        Digest of what we last wrote for this source file, by name.
    """
    taken = {name.casefold(): (name, digest) for name, digest in on_disk.items()}
    target: str | None = None
    remove: list[str] = []
    keep: list[str] = []
    for candidate in _candidates(name):
        there, digest = taken.get(candidate.casefold(), (candidate, None))
        ours = digest is None or digest == written.get(there) or digest == new_digest
        if not ours:
            keep.append(there)
        elif new_digest is not None and target is None:
            target = there
        elif digest is not None:
            remove.append(there)
        if digest is None:
            break
    if target is not None and on_disk.get(target) == new_digest:
        target = None
    return Writing(target, tuple(remove), tuple(keep))


def _candidates(name: str) -> tuple[str, ...]:
    stem = name[: -len(".csv")]
    return (name, *(f"{stem} ({n}).csv" for n in range(2, 1000)))
