"""The one way to the store: a file lock for the writer, one locked DuckDB connection, errors in one sentence."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import duckdb
import filelock

from pipeline.errors import StoreError
from pipeline.store import migrate

MEMORY_LIMIT = "60%"
MAX_TEMP = "200GB"
CLOSED: dict[str, str | bool | int | float | list[str]] = {
    "enable_external_access": "false",
    "autoload_known_extensions": "false",
    "autoinstall_known_extensions": "false",
    "allow_community_extensions": "false",
    "allow_persistent_secrets": "false",
    "python_enable_replacements": "false",
    "preserve_insertion_order": "false",
}
"""The store reads no file, loads no extension and sees no Python variable; ``lock_configuration`` keeps it so."""

FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
CLOSED_TO_US = {errno.EACCES, errno.EPERM, errno.EROFS}


@contextmanager
def open_store(
    path: Path, *, read_only: bool = False, threads: int | None = None
) -> Iterator[duckdb.DuckDBPyConnection]:
    """Open the store at ``path`` and close it again whatever happens.

    Parameters
    ----------
    path
        ``shop.duckdb`` in the shop folder; made where a writer finds none.
    read_only
        Readers share the store with other readers; a writer wants it alone.
    threads
        Threads to use; all that the machine has where not said.

    Yields
    ------
    duckdb.DuckDBPyConnection
        Migrated (by a writer) and locked: no file access, no extensions, no further settings.

    Raises
    ------
    StoreError
        If the store is in use, damaged, newer than this program, not writable, or the disk is full. An error
        of this kind that shows only inside the ``with`` block is turned into its sentence too.
    """
    try:
        if read_only:
            with _session(path, read_only=True, threads=threads) as con:
                yield con
        else:
            path.parent.mkdir(parents=True, exist_ok=True)
            with writer_lock(path), _session(path, read_only=False, threads=threads) as con:
                yield con
    except duckdb.Error as error:
        raise explain(error, path) from error
    except OSError as error:
        known = _explain_os(error, path)
        if known is None:
            raise
        raise known from error


def refuse_missing(path: Path) -> None:
    """Raise StoreError where there is no store, so that a command that needs one does not make an empty one."""
    if not path.exists():
        raise StoreError(f"There is no store at {path.name}: run the import first", slug="store-missing")


@contextmanager
def writer_lock(path: Path) -> Iterator[None]:
    """Hold the shop folder's lock file, so that only one process writes.

    Raises
    ------
    StoreError
        If another process holds it, or it cannot be written.
    """
    lock = filelock.FileLock(path.with_name(path.name + ".lock"))
    try:
        lock.acquire(timeout=0)
    except filelock.Timeout as error:
        raise _in_use(path) from error
    except OSError as error:
        raise _explain_os(error, path) or _unwritable(path) from error
    try:
        yield
    finally:
        lock.release()


@contextmanager
def _session(path: Path, *, read_only: bool, threads: int | None) -> Iterator[duckdb.DuckDBPyConnection]:
    if read_only:
        refuse_missing(path)
    config = dict(
        CLOSED,
        memory_limit=MEMORY_LIMIT,
        max_temp_directory_size=MAX_TEMP,
        temp_directory=str(path.parent / ".spill"),
        threads=str(threads or os.cpu_count() or 1),
        lock_configuration="true",
    )
    con = duckdb.connect(str(path), read_only=read_only, config=config)
    try:
        if read_only:
            migrate.refuse_newer(con, path.name)
        else:
            migrate.migrate(con, path.name)
        yield con
    finally:
        con.close()


def explain(error: duckdb.Error, path: Path) -> StoreError:
    """Return the sentence for an error of the database engine, or the error itself as the program's own fault."""
    text = str(error).casefold()
    if "could not set lock" in text or "conflicting lock" in text or "different configuration" in text:
        return _in_use(path)
    if "no space left" in text or "file too large" in text or "max_temp_directory_size" in text or "disk quota" in text:
        return _full(path)
    if "permission denied" in text or "read-only file system" in text:
        return _unwritable(path)
    if "newer version" in text or "version number" in text:
        return migrate.newer(path.name)
    if any(
        word in text for word in ("corrupt", "not a valid duckdb", "checksum", "could not read enough", "replaying wal")
    ):
        return StoreError(
            f"The store {path.name} is damaged: bring back a kept copy with the restore command", slug="store-damaged"
        )
    return StoreError(f"The store {path.name} could not do its work; nothing was changed", slug="own-fault")


def _explain_os(error: OSError, path: Path) -> StoreError | None:
    if error.errno in FULL:
        return _full(path)
    if error.errno in CLOSED_TO_US or isinstance(error, NotADirectoryError | FileExistsError):
        return _unwritable(path)
    return None


def _in_use(path: Path) -> StoreError:
    return StoreError(
        f"The store {path.name} is in use by another program: close that program or wait for its run to end",
        slug="store-in-use",
    )


def _full(path: Path) -> StoreError:
    return StoreError(
        f"The disk that holds {path.name} is full: make room and run again; nothing was changed", slug="disk-full"
    )


def _unwritable(path: Path) -> StoreError:
    return StoreError(
        f"The shop folder {path.parent.name} cannot be written: allow writing there or choose another with --shop",
        slug="store-unwritable",
    )
