"""Paths given on the command line in, the files they mean out, in the order in which they count."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import NothingUsable, UsageError, cut

DROPPINGS = frozenset({"thumbs.db", "desktop.ini"})
"""Files that operating systems leave in folders by themselves."""
PROGRAMS = (".py", ".pyc")
"""Endings of program text, never an export: the sample exports lie beside the generator that makes them."""


@dataclass(frozen=True)
class Found:
    """One input file and its name as shown to the user, relative to what was given."""

    path: Path
    name: str


def discover(paths: Iterable[Path], shop: Path) -> list[Found]:
    """Return the files that ``paths`` mean, each once, in natural order of their paths.

    A folder means the regular files in it and below, without the shop folder, hidden files and symbolic links
    (a link out of the folder is not followed, the target of one inside is found by itself). What is no text is
    returned too, so that the reader refuses it by content and says so.

    Raises
    ------
    UsageError
        If a path does not exist or cannot be listed.
    NothingUsable
        If there is no file at all.
    """
    closed = _real(shop)
    given = list(paths)
    found: dict[str, Found] = {}
    for path in given:
        for file, name in _files(path, closed):
            found.setdefault(os.path.realpath(file), Found(file, name))
    if not found:
        listed = ", ".join(cut(path.name or str(path)) for path in given) or "the command"
        raise NothingUsable(f"{listed}: no file to import; give a CSV file or a folder that holds some")
    ordered = sorted(found.values(), key=lambda item: natural_key(str(item.path.absolute())))
    return _with_distinct_names(ordered)


def _real(path: Path) -> str:
    return os.path.realpath(path)


def _files(path: Path, shop: str) -> Iterator[tuple[Path, str]]:
    if path.is_dir():
        yield from ((file, file.relative_to(path).as_posix()) for file in _below(path, shop))
    elif path.exists():
        yield path, path.name
    else:
        raise UsageError(f"{cut(path.name or str(path))} does not exist: check the path", slug="no-such-path")


def _below(folder: Path, shop: str) -> Iterator[Path]:
    try:
        entries = list(folder.iterdir())
    except OSError as error:
        reason = error.strerror or type(error).__name__
        name = cut(folder.name or str(folder))
        raise UsageError(f"{name} cannot be listed ({reason}): check its permissions") from error
    for entry in entries:
        if entry.is_symlink() or entry.name.startswith((".", "~$")) or entry.name.lower() in DROPPINGS:
            continue
        if entry.name.lower().endswith(PROGRAMS):
            continue
        if entry.is_dir():
            if _real(entry) != shop:
                yield from _below(entry, shop)
        elif entry.is_file():
            yield entry


def natural_key(text: str) -> list[tuple[int, int, str]]:
    """Return a sort key in which ``jobs_2`` comes before ``jobs_10``.

    >>> sorted(["b10", "b2", "a"], key=natural_key)
    ['a', 'b2', 'b10']
    """
    parts = re.findall(r"[0-9]+|[^0-9]+", text)
    key = [(0, int(p), p) if p[0].isdigit() and len(p) < 4000 else (1, 0, p.casefold()) for p in parts]
    return [*key, (2, 0, text)]


def _with_distinct_names(found: list[Found]) -> list[Found]:
    """Return the files, where two would show the same name with their whole path instead."""
    seen: dict[str, int] = {}
    for item in found:
        seen[item.name] = seen.get(item.name, 0) + 1
    return [Found(f.path, f.name if seen[f.name] == 1 else f.path.as_posix()) for f in found]
