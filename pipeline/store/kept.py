"""Kept copies of the store: one before each run that changes it, the newest three, and the way back."""

from __future__ import annotations

import datetime as dt
import shutil
from dataclasses import dataclass
from pathlib import Path

import duckdb

from pipeline.errors import StoreError, UsageError
from pipeline.store.connect import explain, open_store, writer_lock

KEPT = 3
"""Copies kept beside the store."""

FOLDER = ".kept"
STAMP = "%Y%m%dT%H%M%S%f"


@dataclass(frozen=True)
class KeptCopy:
    """One kept copy: its name, when it was made and its size in bytes."""

    name: str
    kept_at: dt.datetime
    size: int


def keep_copy(path: Path, now: dt.datetime) -> KeptCopy | None:
    """Copy the store before a run changes it and let the oldest copy go.

    To be called before ``open_store``. Nothing is copied where there is no store yet, or where the newest copy still
    is what the store is.

    Raises
    ------
    StoreError
        If the store is in use or damaged, or there is no room for the copy.
    """
    if not path.exists():
        return None
    _fold_log(path)
    known = list_copies(path)
    if known and _same(path, path.parent / FOLDER / known[0].name):
        return known[0]
    with writer_lock(path):
        made = _copy(path, now)
    for old in list_copies(path)[KEPT:]:
        (path.parent / FOLDER / old.name).unlink(missing_ok=True)
    return made


def list_copies(path: Path) -> list[KeptCopy]:
    """Return the kept copies of the store, the newest first."""
    folder = path.parent / FOLDER
    found = []
    for file in folder.glob(f"{path.stem}-*{path.suffix}") if folder.is_dir() else ():
        try:
            kept_at = dt.datetime.strptime(file.stem.removeprefix(f"{path.stem}-"), STAMP)
        except ValueError:
            continue
        found.append(KeptCopy(file.name, kept_at, file.stat().st_size))
    return sorted(found, key=lambda copy: copy.name, reverse=True)


def bring_back(path: Path, name: str, now: dt.datetime) -> None:
    """Put the kept copy ``name`` in the place of the store; the store as it was becomes a kept copy itself.

    Raises
    ------
    UsageError
        If there is no such copy.
    StoreError
        If the copy is damaged, the store is in use, or there is no room.
    """
    chosen = path.parent / FOLDER / name
    if name not in {copy.name for copy in list_copies(path)}:
        raise UsageError(f"There is no kept copy {name}: restore without a name lists them", slug="no-such-copy")
    with open_store(chosen, read_only=True) as con:
        con.execute("select count(*) from imports").fetchall()
    with writer_lock(path):
        try:
            waiting = path.with_name(path.name + ".coming")
            shutil.copy2(chosen, waiting)
            if path.exists():
                _copy(path, now)
            path.with_name(path.name + ".wal").unlink(missing_ok=True)
            waiting.replace(path)
        except OSError as error:
            raise StoreError(
                f"The kept copy {name} could not be brought back ({error.strerror or type(error).__name__}); "
                "the store is as it was",
                slug="restore-failed",
            ) from error


def _copy(path: Path, now: dt.datetime) -> KeptCopy:
    folder = path.parent / FOLDER
    target = folder / f"{path.stem}-{now.strftime(STAMP)}{path.suffix}"
    waiting = target.with_suffix(".part")
    try:
        folder.mkdir(exist_ok=True)
        shutil.copy2(path, waiting)
        waiting.replace(target)
    except OSError as error:
        waiting.unlink(missing_ok=True)
        raise StoreError(
            f"No copy of {path.name} could be kept ({error.strerror or type(error).__name__}): make room; "
            "nothing was changed",
            slug="no-copy",
        ) from error
    return KeptCopy(target.name, now, target.stat().st_size)


def _fold_log(path: Path) -> None:
    """Bring a log that a killed run left behind into the store file, so that a copy of the file is whole."""
    if not path.with_name(path.name + ".wal").exists():
        return
    with writer_lock(path):
        try:
            duckdb.connect(str(path)).close()
        except duckdb.Error as error:
            raise explain(error, path) from error


def _same(one: Path, other: Path) -> bool:
    a, b = one.stat(), other.stat()
    return (a.st_size, a.st_mtime_ns) == (b.st_size, b.st_mtime_ns)
