"""Asks the store for the pages' frames, has them rendered, and makes one whole generation of pages visible at once.

The pages of a generation lie in a folder named after their content; ``index.html`` is the only pointer to it and is
replaced last, so a reader sees the old set or the new one, never a mixture, whenever the program is stopped.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
import shutil
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from itertools import islice
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.checks.formulas import guarded
from pipeline.config import Settings
from pipeline.errors import StoreError, UsageError, cut
from pipeline.round_files import round_files
from pipeline.workmate import Each, alone
from reports.format import file_stem
from reports.links import Links
from reports.page import HOME, Page, Site
from reports.pages import PageModule, all_pages
from reports.render import assets, render
from reports.site import make_site, numbers_for, private_columns, without_names

Query = Callable[[str, Mapping[str, object]], pl.DataFrame]
"""Asks the store: file stem in ``sql/pages`` and the values it binds → frame."""

MOST_UNIT_PAGES = 3000
"""Unit pages beside the flagged ones; any other comes by ``--unit`` (a limit on size, engineering choice)."""
INDEX = "index.html"
GENERATION = re.compile(r"[0-9a-f]{12}")
PENDING = "0" * 12
"""Stands for the generation's name while the pages are hashed, before the name is known."""
STAGING = ".being-written"
SHEAF = 20
"""Documents that are rendered at a time."""
WATCHLIST_COLUMNS = (
    "rank",
    "unit_id",
    "customer_name",
    "phone",
    "address",
    "city",
    "postal_code",
    "unit_location",
    "make",
    "model",
    "p_failure",
    "p_low",
    "p_high",
    "leading_reason",
    "reasons",
    "last_visit_on",
    "technician",
    "agreement",
    "expected_cost",
    "as_of",
    "season_end",
)

CLAIM_ORDER = ("to_file", "test_before_lapse", "filed", "credited", "denied", "lapsed")
CLAIM_COLUMNS = (
    "state",
    "deadline",
    "days_left",
    "unit_id",
    "customer_name",
    "address",
    "make",
    "model",
    "serial",
    "installed_on",
    "part",
    "section",
    "part_make",
    "serial_out",
    "serial_in",
    "visit_id",
    "visit_date",
    "cause",
    "covered_until",
    "cover_basis",
    "claim_to",
    "amount",
    "cost",
    "claim_amount",
    "claimed_on",
    "customer_paid",
    "evidence",
    "missing",
    "note",
    "source_file",
    "source_line",
)


@dataclass(frozen=True)
class Published:
    """What a publication left behind."""

    index: Path
    generation: str
    pages: int
    flagged: int


def publish(
    query: Query,
    shop: Path,
    settings: Settings,
    *,
    no_names: bool = False,
    asked_for: tuple[str, ...] = (),
    most_unit_pages: int = MOST_UNIT_PAGES,
    each: Each = alone,
) -> Published:
    """Write ``dashboards/`` and ``lists/`` in the shop folder.

    Parameters
    ----------
    query
        Asks the store for a page query by name with its bound values.
    shop
        The shop folder.
    settings
        For the shop's name and currency.
    no_names
        Leave out every name, phone, street and free text.
    asked_for
        Units that get a page whatever their chance.
    most_unit_pages
        Units by rank, beside the flagged ones, that get a page.
    each
        Has the pages rendered, a sheaf at a time.

    Raises
    ------
    UsageError
        If a unit asked for is not an active unit of the store.
    StoreError
        If the folder cannot be written; the earlier pages stay as they were.
    """
    ask = _asker(query, no_names)
    wanted = ask("unit_pages", {"most": most_unit_pages, "asked_for": list(asked_for)})
    ids = wanted["unit_id"].to_list()
    _check_asked(asked_for, ids)
    files = {unit_id: f"{file_stem(unit_id, readable=not no_names)}.html" for unit_id in ids}
    site = make_site(
        ask("site", {}),
        shop_name=settings.shop.name,
        currency=settings.shop.currency,
        with_names=not no_names,
        unit_files=files,
    )
    watched = ask("watch_list", {})
    try:
        generation, pages = _write_dashboards(shop / "dashboards", all_pages(), ask, site, {"unit_ids": ids}, each)
        _write_text(shop / "lists" / "watchlist.csv", watchlist_csv(watched, no_names=no_names))
        _write_text(shop / "lists" / "claims.csv", claims_csv(ask("warranty_claims", {}), no_names=no_names))
        _write_round(shop / "lists", dict(round_files(ask, _cell, no_names=no_names)))
    except OSError as error:
        where = Path(error.filename).name if isinstance(error.filename, str) else "the shop folder"
        raise StoreError(
            f"the dashboards cannot be written ({error.strerror or type(error).__name__}, at {where}): make room or "
            "free the folder and run publish again; the earlier pages are as they were",
            slug="publish-write",
        ) from error
    return Published(shop / "dashboards" / INDEX, generation, pages, site.units_flagged)


def _write_round(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write the files of the round; the calendar of a technician who is not on it any more goes."""
    for name, content in files.items():
        _write_bytes(folder / name, content)
    for old in (folder / "calendar").glob("*.ics"):
        if f"calendar/{old.name}" not in files:
            old.unlink()


def watchlist_csv(watched: pl.DataFrame, *, no_names: bool = False) -> str:
    """Return the watch list as CSV text."""
    return _csv(watched, WATCHLIST_COLUMNS, no_names)


def claims_csv(claims: pl.DataFrame, *, no_names: bool = False) -> str:
    """Return every claim as CSV text: to file, to test, waiting, settled, lapsed; each by its deadline."""
    order = pl.col("state").replace_strict({state: n for n, state in enumerate(CLAIM_ORDER)}, default=len(CLAIM_ORDER))
    ordered = claims.with_columns(place=order).sort("place", "deadline", "claim_id", nulls_last=True)
    return _csv(ordered, CLAIM_COLUMNS, no_names)


def _csv(frame: pl.DataFrame, wanted: tuple[str, ...], no_names: bool) -> str:
    """Return columns as CSV text; a cell that a spreadsheet would run as a formula gets an apostrophe."""
    columns = [name for name in wanted if not (no_names and name in private_columns())]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    for row in frame.select(columns).iter_rows():
        writer.writerow([_cell(value) for value in row])
    return out.getvalue()


def _cell(value: object) -> object:
    if isinstance(value, float):
        return f"{value:.4f}".rstrip("0").rstrip(".")
    if isinstance(value, str):
        return guarded(value)
    return value


def _asker(query: Query, no_names: bool) -> Query:
    if not no_names:
        return query
    shown = numbers_for(query("technicians", {})["technician"].to_list())
    return lambda name, values: without_names(query(name, values), shown)


def _check_asked(asked_for: Iterable[str], found: list[str]) -> None:
    known = set(found)
    for unit_id in asked_for:
        if unit_id not in known:
            raise UsageError(
                f"--unit {cut(unit_id)!r} is no unit in care: the table units lists them", slug="unknown-unit"
            )


def _write_dashboards(
    folder: Path,
    modules: tuple[PageModule, ...],
    ask: Query,
    site: Site,
    values: Mapping[str, object],
    each: Each,
) -> tuple[str, int]:
    before = _current(folder)
    staging = folder / STAGING
    shutil.rmtree(staging, ignore_errors=True)
    staging.mkdir(parents=True)
    try:
        _write_assets(folder / "assets")
        menu = tuple(module.PAGE for module in modules if not module.PAGE.many)
        home: list[_Sheaf] = []
        # a page that is many comes first: its documents are rendered while the contexts of the others are made
        ordered = sorted(modules, key=lambda module: not module.PAGE.many)
        made = (sheaf for module in ordered for sheaf in _sheaves(module.PAGE, _context(module, ask, site, values)))
        written = each(partial(_write_pages, staging, menu, site), _noting(made, home))
        digest, pages = hashlib.sha256(), 0
        for path, content in (document for sheaf in written for document in sheaf):
            digest.update(f"{path} {content}\n".encode())
            pages += 1
        generation = digest.hexdigest()[:12]
        _move_in(staging, folder / generation)
        for _, text in _documents(home[0], menu, site, generation):
            _write_text(folder / INDEX, text)
    finally:
        shutil.rmtree(staging, ignore_errors=True)
    _prune(folder, keep={generation, before or generation}, changed=generation != before)
    return generation, pages


def _context(module: PageModule, ask: Query, site: Site, values: Mapping[str, object]) -> Any:
    frames = {query: ask(query, {name: values[name] for name in bound}) for query, bound in module.PAGE.queries.items()}
    return module.build(frames, site)


@dataclass(frozen=True)
class _Sheaf:
    """Some documents of one page kind, by their contexts: as much as is rendered at a time."""

    page: Page
    contexts: tuple[Any, ...]


def _sheaves(page: Page, built: Any) -> Iterator[_Sheaf]:
    """Yield the documents of one page kind."""
    contexts = iter(built if page.many else (built,))
    while some := tuple(islice(contexts, SHEAF)):
        yield _Sheaf(page, some)


def _noting(sheaves: Iterable[_Sheaf], home: list[_Sheaf]) -> Iterator[_Sheaf]:
    """Yield the sheaves as they come and keep that of the index, which is written once more at the end."""
    for sheaf in sheaves:
        if sheaf.page.slug == HOME:
            home.append(sheaf)
        yield sheaf


def _write_pages(staging: Path, menu: tuple[Page, ...], site: Site, sheaf: _Sheaf) -> list[tuple[str, str]]:
    """Write documents under a name that waits for the generation's; return path and digest of each."""
    written = []
    for path, text in _documents(sheaf, menu, site, PENDING):
        content = text.encode("utf-8", "replace")
        written.append((path, hashlib.sha256(content).hexdigest()))
        if path != INDEX:
            _write_bytes(staging / path.removeprefix(f"{PENDING}/"), content)
    return written


def _documents(sheaf: _Sheaf, menu: tuple[Page, ...], site: Site, generation: str) -> Iterator[tuple[str, str]]:
    """Yield path from the dashboards folder and text of every document."""
    names = {name: served for name, (served, _) in assets().items()}
    for context in sheaf.contexts:
        path = _path(sheaf.page, context, generation)
        yield path, render(sheaf.page, context, site, Links(path, generation, names, site.unit_files), menu)


def _path(page: Page, context: Any, generation: str) -> str:
    if page.slug == HOME:
        return INDEX
    return f"{generation}/{page.slug}/{context.file}" if page.many else f"{generation}/{page.file}"


def _move_in(staging: Path, final: Path) -> None:
    """Make the staged pages the generation's folder; one that is there already holds the same bytes or too few."""
    if not final.exists():
        staging.rename(final)
        return
    for file in sorted(path for path in staging.rglob("*") if path.is_file()):
        target = final / file.relative_to(staging)
        target.parent.mkdir(parents=True, exist_ok=True)
        file.replace(target)


def _write_assets(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for served, content in assets().values():
        target = folder / served
        if not target.exists() or target.stat().st_size != len(content):
            _write_bytes(target, content)


def _current(folder: Path) -> str | None:
    """Return the generation that index.html points to, if it is one of ours."""
    try:
        text = (folder / INDEX).read_text("utf-8", errors="replace")
    except OSError:
        return None
    found = re.search(r'<meta name="generation" content="([0-9a-f]{12})">', text)
    return found.group(1) if found else None


def _prune(folder: Path, keep: set[str], *, changed: bool) -> None:
    """Remove generations older than the previous one."""
    if not changed:
        return
    for old in folder.iterdir():
        if old.is_dir() and GENERATION.fullmatch(old.name) and old.name not in keep:
            shutil.rmtree(old, ignore_errors=True)


def _write_bytes(path: Path, content: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    new = path.with_name(path.name + ".new")
    new.write_bytes(content)
    new.replace(path)


def _write_text(path: Path, text: str) -> None:
    _write_bytes(path, text.encode("utf-8", "replace"))
