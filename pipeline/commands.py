"""The commands beside the main job: check, map, plan, publish, backtest and restore."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import duckdb
from pydantic import ValidationError

from pipeline.config import Plan, Settings, Stock, load_settings
from pipeline.errors import FileRefused, NothingUsable, UsageError, cut
from pipeline.ingest import mapping_file
from pipeline.ingest.discover import discover
from pipeline.intake import Intake, Refused
from pipeline.plan_run import THOROUGH, summary_line, write_plan
from pipeline.program import refuse_rows_of_another
from pipeline.progress import Progress, Say, Summary, any_rejected, lines_of, nothing_usable, refuse, tell
from pipeline.publish import publish
from pipeline.shop_folder import MAPPING, SETTINGS, STORE
from pipeline.store import load, records
from pipeline.store.connect import open_store, refuse_missing
from pipeline.store.kept import bring_back, list_copies
from pipeline.store.query import query


def check(inputs: Sequence[Path], shop: Path, *, as_of: dt.date | None, today: dt.date, say: Say) -> Summary:
    """Read and check as ``run`` does, against nothing stored; nothing is written."""
    settings = load_settings(shop / SETTINGS)
    intake = Intake(mapping_file.load(shop / MAPPING), settings, as_of, today)
    progress = Progress()
    for item in intake.take(list(enumerate(discover(inputs, shop)))):
        if isinstance(item, Refused):
            refuse(item, progress, say)
            continue
        tell(item, say)
        for row in item.findings.iter_rows(named=True):
            say(f"{row['source_file']} line {row['source_line']}, {row['message']}. {row['advice']} [{row['rule']}]")
        progress.accounts.append((item.file, item.account_if_new()))
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
        refuse_rows_of_another(records.written_by(con))
        _last_day(con)
        published = publish(
            lambda name, values: query(con, name, values), shop, settings, no_names=no_names, asked_for=units
        )
    return [f"{published.index}: {published.flagged} units flagged, {published.pages} pages"]


@dataclass(frozen=True)
class Asked:
    """What the command line says of a round; what is None or empty is as in the settings."""

    first: dt.date | None = None
    last: dt.date | None = None
    technicians: tuple[str, ...] = ()
    hours: str | None = None
    free_share_pct: float | None = None
    service_level: float | None = None


def plan_again(shop: Path, asked: Asked, *, say: Say) -> list[str]:
    """Plan the round again as asked, thoroughly, and write the pages.

    Raises
    ------
    UsageError
        If a technician is not in the settings, or hours or a share make no sense.
    """
    settings = _as_asked(load_settings(shop / SETTINGS), asked)
    refuse_missing(shop / STORE)
    with open_store(shop / STORE) as con:
        load.begin(con)
        refuse_rows_of_another(records.written_by(con))
        day = _last_day(con)
        found = write_plan(con, shop, day, settings, iterations=THOROUGH, say=say)
        load.finish(con)
        published = publish(lambda name, values: query(con, name, values), shop, settings)
    return [summary_line(found), f"{published.index}: as of {day}, {published.pages} pages"]


def _last_day(con: duckdb.DuckDBPyConnection) -> dt.date:
    day = records.last_as_of(con)
    if day is None:
        raise NothingUsable("the store has no visits yet: import some with `preseason run` first")
    return day


def _as_asked(settings: Settings, asked: Asked) -> Settings:
    if asked.first and asked.last and asked.first > asked.last:
        raise UsageError(f"--from {asked.first} is later than --to {asked.last}: give them the other way round")
    known = {technician.name: technician for technician in settings.technicians}
    unknown = [name for name in asked.technicians if name not in known]
    if unknown:
        named = ", ".join(known) or "none"
        raise UsageError(f"--technician {cut(unknown[0])!r} is not in {SETTINGS}; there: {named}")
    who = [known[name] for name in dict.fromkeys(asked.technicians)] or list(known.values())
    plan = settings.plan.model_dump()
    said = {
        "first_day": asked.first,
        "last_day": asked.last,
        "free_share_pct": asked.free_share_pct,
        "hours": asked.hours,
    }
    plan |= {key: value for key, value in said.items() if value is not None}
    if asked.hours is not None:
        who = [technician.model_copy(update={"hours": ""}) for technician in who]
    try:
        changed: dict[str, object] = {"plan": Plan.model_validate(plan), "technicians": tuple(who)}
        if asked.service_level is not None:
            stock = settings.stock.model_dump() | {"service_level": asked.service_level}
            changed["stock"] = Stock.model_validate(stock)
        return settings.model_copy(update=changed)
    except ValidationError as error:
        first = error.errors()[0]
        named = str(first["loc"][0])
        option = {"hours": "--hours", "free_share_pct": "--free-share", "service_level": "--service-level"}.get(
            named, named
        )
        raise UsageError(f"{option}: {first['msg']}") from error


def backtest_lines(shop: Path) -> list[str]:
    """Return in plain counts what each past season's forecast would have flagged and what became of it, a line each."""
    with open_store(shop / STORE, read_only=True) as con:
        refuse_rows_of_another(records.written_by(con))
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
