"""The commands beside the main job: check, map, publish, backtest and restore."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path

from pipeline.config import load_settings
from pipeline.errors import FileRefused, NothingUsable
from pipeline.ingest import mapping_file
from pipeline.ingest.discover import discover
from pipeline.intake import Intake, Refused
from pipeline.progress import Progress, Say, Summary, any_rejected, lines_of, nothing_usable, refuse, tell
from pipeline.publish import publish
from pipeline.shop_folder import MAPPING, SETTINGS, STORE
from pipeline.store.connect import open_store
from pipeline.store.kept import bring_back, list_copies
from pipeline.store.query import query


def check(inputs: Sequence[Path], shop: Path, *, as_of: dt.date | None, today: dt.date, say: Say) -> Summary:
    """Read and check as ``run`` does, against nothing stored; nothing is written."""
    settings = load_settings(shop / SETTINGS)
    intake = Intake(mapping_file.load(shop / MAPPING), settings, as_of, today)
    progress = Progress()
    for item in intake.take(enumerate(discover(inputs, shop))):
        if isinstance(item, Refused):
            refuse(item, progress, say)
            continue
        tell(item, say)
        for row in item.findings.iter_rows(named=True):
            say(f"{row['source_file']} line {row['source_line']}, {row['message']}. {row['advice']} [{row['rule']}]")
        progress.accounts.append((item.file, item.account(item.checked.frame.height, 0)))
    if not progress.accounts:
        raise NothingUsable(nothing_usable(progress))
    for _, account in progress.accounts:
        account.assert_balanced()
    return Summary(lines_of(progress), bool(progress.refused) or any_rejected(progress.accounts))


def propose_mapping(inputs: Sequence[Path], shop: Path, *, say: Say) -> str:
    """Return the text of a mapping file for the inputs; a file that cannot be read is named and left out."""
    from pipeline.ingest.propose import propose
    from pipeline.ingest.read import read_table

    raws = []
    for found in discover(inputs, shop):
        try:
            raws.append(read_table(found.path, found.name))
        except FileRefused as error:
            say(error.sentence())
    if not raws:
        raise NothingUsable("none of the files can be read; save one as CSV and try again")
    return propose(raws)


def publish_again(shop: Path, *, units: tuple[str, ...], no_names: bool) -> list[str]:
    """Write the pages again from what is stored."""
    settings = load_settings(shop / SETTINGS)
    with open_store(shop / STORE, read_only=True) as con:
        published = publish(
            lambda name, values: query(con, name, values), shop, settings, no_names=no_names, asked_for=units
        )
    return [f"{published.index}: {published.flagged} units flagged, {published.pages} pages"]


def backtest_lines(shop: Path) -> list[str]:
    """Return in plain counts what each past season's forecast would have flagged and what became of it, a line each."""
    with open_store(shop / STORE, read_only=True) as con:
        seasons = query(con, "forecast_record_seasons")
    lines = [
        f"season {row['season']}, asked on {row['as_of']}: {row['flagged']} units flagged, {row['flagged_failed']} of "
        f"them failed; {row['others']} others, {row['others_failed']} failed; {row['expected_failures']:.1f} failures "
        f"expected, {row['failures']} came; {row['left_out']} left out"
        for row in seasons.iter_rows(named=True)
    ]
    return lines or ["no past season can be looked back on yet: two seasons of visits are needed"]


def restore_copy(shop: Path, copy: str | None) -> list[str]:
    """Return the kept copies, a line each, or bring one back and say so."""
    store = shop / STORE
    if copy is None:
        copies = list_copies(store)
        return [f"{kept.name}  {kept.kept_at:%Y-%m-%d %H:%M}  {kept.size} bytes" for kept in copies] or [
            "no copy of the store is kept yet"
        ]
    bring_back(store, copy, dt.datetime.now().replace(microsecond=0))
    return [f"{copy} is the store again; run publish to write its pages"]
