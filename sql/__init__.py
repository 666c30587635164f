"""The SQL of the store, as package data: migrations, load steps, views, page queries and checks.

``statement`` reads a file; ``render`` fills a template with names from the field registry. A name with anything but
letters, digits, underscores and plain spacing in it is refused, so that no value of an export can end a quoted name.
"""

from __future__ import annotations

import re
from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable
from typing import Any

SAFE = re.compile(r"[A-Za-z0-9_., =\[\]]*")
"""What a template may print: names, types, plain numbers and the words between them; no quote, bracket or semicolon."""


def files(folder: str, *suffixes: str) -> list[Traversable]:
    """Return the files of ``folder`` that end in one of ``suffixes``, by name."""
    found = resources.files("sql").joinpath(folder).iterdir()
    return sorted((f for f in found if f.name.endswith(suffixes)), key=lambda f: f.name)


def exists(path: str) -> bool:
    """Return whether there is such a file."""
    return resources.files("sql").joinpath(path).is_file()


@cache
def statement(path: str) -> str:
    """Return the text of one SQL file, such as ``pages/watch_list.sql``."""
    return resources.files("sql").joinpath(path).read_text("utf-8")


def render(path: str, **names: Any) -> str:
    """Return the text of one SQL template with ``names`` filled in.

    Raises
    ------
    ValueError
        If a name is anything but a plain identifier.
    """
    return str(_template(path).render(**names))


@cache
def _template(path: str) -> Any:
    from jinja2 import Environment, StrictUndefined

    environment = Environment(
        undefined=StrictUndefined, finalize=_plain, trim_blocks=True, lstrip_blocks=True, autoescape=False
    )
    return environment.from_string(statement(path))


def _plain(value: object) -> object:
    if not SAFE.fullmatch(str(value)):
        raise ValueError(f"{value!r} is not a plain name and may not become part of a statement")
    return value
