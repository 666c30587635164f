"""What a page is, and what every page may know about the shop and the run."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Phase = Literal["before", "in", "after"]


@dataclass(frozen=True)
class Page:
    """One page kind, declared beside its ``build``.

    Attributes
    ----------
    slug
        Name of the module, the template and the start of its queries' names.
    title
        Shown in the menu and as the document's title.
    order
        Place in the menu, lowest first; under ``RECORDS`` on its first line (pages to act from), else on the second.
    queries
        Query (file stem in ``sql/pages``) to the names of the values it binds.
    many
        One document per context that ``build`` yields, in a folder of the slug's name, outside the menu.
    """

    slug: str
    title: str
    order: int
    queries: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    many: bool = False

    @property
    def file(self) -> str:
        """File name inside the generation's folder."""
        return f"{self.slug.replace('_', '-')}.html"

    @property
    def template(self) -> str:
        """Template of the page kind."""
        return f"pages/{self.slug}.html.j2"

    @property
    def acts(self) -> bool:
        """Whether the menu has the page on its first line."""
        return self.order < RECORDS


RECORDS = 32
"""From this place on a page is a record to look something up in, not one to act from."""
HOME = "fleet_review"
"""Slug of the page that becomes ``index.html``, the only pointer to a generation."""


@dataclass(frozen=True)
class Site:
    """Facts that stand at the top of every page, from the one row of ``site.sql``."""

    shop_name: str
    currency: str
    with_names: bool
    as_of: dt.date | None
    season_start: dt.date | None
    season_end: dt.date | None
    newest_visit_on: dt.date | None
    units_active: int
    units_flagged: int
    units_unseen: int
    visits_counted: int
    visits_stored: int
    files_imported: int
    rows_read: int
    rows_stored: int
    rows_unchanged: int
    rows_rejected: int
    rows_skipped: int
    values_rejected: int
    rejects_open: int
    capacitor_readings: int
    units_with_capacitor_reading: int
    charge_readings: int
    charge_readings_testable: int
    expected_failures: float
    expected_failures_flagged: float
    expected_cost: float | None
    unit_files: Mapping[str, str] = field(default_factory=dict)

    @property
    def days_to_season(self) -> int | None:
        """Days from as-of to the season's start; 0 or less once it runs."""
        if self.as_of is None or self.season_start is None:
            return None
        return (self.season_start - self.as_of).days

    @property
    def phase(self) -> Phase:
        """Whether the season in question lies ahead, runs, or the last one has only just ended.

        The season in question is the next to end, so shortly after one has ended the next is most of a year away.
        """
        days = self.days_to_season
        if days is None or 0 < days <= JUST_ENDED_DAYS:
            return "before"
        return "in" if days <= 0 else "after"

    @property
    def has_readings(self) -> bool:
        """Whether any reading of a capacitor or of the charge is stored."""
        return self.capacitor_readings + self.charge_readings > 0


JUST_ENDED_DAYS = 150
"""Further than this from the next start, the last season is the more useful subject (engineering guess)."""
