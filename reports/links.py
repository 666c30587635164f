"""Addresses between the pages, all relative, so that the folder works wherever it lies."""

from __future__ import annotations

import posixpath
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from reports.page import HOME, Page


@cache
def _way(here: str, folder: str) -> str:
    return posixpath.relpath(folder, here)


@dataclass(frozen=True)
class Links:
    """Addresses as seen from one document.

    Attributes
    ----------
    here
        Path of the document from the dashboards folder.
    generation
        Folder of this generation.
    assets
        Plain asset name to the name it is served under (with its content hash).
    unit_files
        Unit to the file of its page; units without a page are missing.
    """

    here: str
    generation: str
    assets: Mapping[str, str]
    unit_files: Mapping[str, str]

    def _to(self, path: str) -> str:
        folder, _, file = path.rpartition("/")
        way = _way(posixpath.dirname(self.here) or ".", folder or ".")
        return file if way == "." else f"{way}/{file}"

    def page(self, page: Page) -> str:
        """Address of a page of the menu."""
        return self._to("index.html" if page.slug == HOME else f"{self.generation}/{page.file}")

    def slug(self, slug: str) -> str:
        """Address of a page of the menu by its slug."""
        return self._to("index.html" if slug == HOME else f"{self.generation}/{slug.replace('_', '-')}.html")

    def unit(self, unit_id: str) -> str | None:
        """Address of a unit's page, or None where it has none."""
        file = self.unit_files.get(unit_id)
        return None if file is None else self._to(f"{self.generation}/unit/{file}")

    def asset(self, name: str) -> str:
        """Address of a style sheet or script."""
        return self._to(f"assets/{self.assets[name]}")
