"""One stretch of the list of all units, where the list is too long for one page."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import polars as pl

from reports.page import Page, Site
from reports.pages.find_unit import Part, list_parts

PAGE = Page(slug="find_unit_part", title="Find a unit", order=91, queries={"find_unit": ()}, many=True)


def build(frames: Mapping[str, pl.DataFrame], _site: Site) -> Iterator[Part]:
    """Yield one context per stretch; none where the list fits on one page."""
    parts = list_parts(frames["find_unit"])
    yield from parts if len(parts) > 1 else ()
