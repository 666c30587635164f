"""The stages in order. No arithmetic here: it reads, has things computed, and makes them visible at once."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping, Sequence
from pathlib import Path

import duckdb
import polars as pl

from pipeline.bring_in import gate_all, merge_all, new_files, settle_all, stage_all
from pipeline.checks.suite import warm_up
from pipeline.config import Settings, load_settings
from pipeline.derive import Scope, enrich, view_settings
from pipeline.derive_forecast import forecast
from pipeline.derive_rates import rates_and_lives, read_fleet, write_tables, write_warranty
from pipeline.errors import NothingUsable
from pipeline.ingest import mapping_file
from pipeline.ingest.decode import digest as content_digest
from pipeline.ingest.discover import discover
from pipeline.intake import Intake
from pipeline.plan_run import QUICK, keep_plan_inputs, write_plan
from pipeline.program import program_version
from pipeline.progress import (
    NO_VISITS_YET,
    Progress,
    Say,
    Summary,
    any_rejected,
    lines_of,
    nothing_usable,
    only_waiting,
    timed,
)
from pipeline.publish import publish
from pipeline.rejected_files import write_rejected
from pipeline.shop_folder import (
    MAPPING,
    SETTINGS,
    STORE,
    blowers_of,
    charts_of,
    complete_mapping,
    degree_days_of,
    make_folder,
)
from pipeline.store import load, records
from pipeline.store.connect import open_store
from pipeline.store.kept import keep_copy
from pipeline.store.query import query
from pipeline.store.verify import verify
from pipeline.workmate import Workmate
from reports.render import compile_templates

ALONE = Workmate()


def run(
    inputs: Sequence[Path],
    shop: Path,
    *,
    as_of: dt.date | None,
    today: dt.date,
    say: Say,
    mate: Workmate = ALONE,
) -> Summary:
    """Read, check, store, enrich, forecast, plan and publish.

    Parameters
    ----------
    inputs
        Files and folders.
    shop
        The shop folder; made where there is none.
    as_of
        Day to look from; the newest visit where None.
    today
        The date of the clock; no visit is later, unless as_of is.
    say
        Takes messages for the user, a sentence each.
    mate
        Shares the work.

    Raises
    ------
    PipelineError
        As the contract's exit statuses; nothing of the run is then stored or published.
    """
    settings = load_settings(shop / SETTINGS)
    mapping = mapping_file.load(shop / MAPPING)
    charts, blowers, heat = charts_of(shop), blowers_of(shop), degree_days_of(shop)
    found = list(enumerate(discover(inputs, shop)))
    now = dt.datetime.now().replace(microsecond=0)
    make_folder(shop)
    store = shop / STORE
    progress = Progress()
    new = new_files(store, mapping, found, progress)
    if new:
        keep_copy(store, now)
        warm_up()  # its library loads while files are read
    with open_store(store) as con:
        load.begin(con)
        intake = Intake(mapping, settings, as_of, today, lambda files: load.stored_parts(con, files))
        with timed(progress, "read and check"):
            stage_all(con, intake, new, progress, say, mate.each)
        mate.lend(compile_templates)
        with timed(progress, "store"):
            gate_all(con, intake, progress)
            merge_all(con, progress, now)
            touched = settle_all(con, say)
        if query(con, "visits_counted").item() == 0:
            return _keep_waiting(con, shop, progress)
        day = load.as_of(con, as_of, today)
        facts = _facts(settings, charts=charts, blowers=blowers, degree_days=heat)
        scope = _scope(con, touched, day, facts)
        if progress.staged or scope.units is None or day != records.last_as_of(con):
            records.record_settings(con, facts)
            with timed(progress, "enrich"):
                enrich(con, scope, settings, charts, blowers)
            with timed(progress, "rates and warranty"):
                fleet = read_fleet(con, day, settings)
                rates = mate.lend(rates_and_lives, fleet, settings.season, heat)
            with timed(progress, "forecast"):
                forecast(con, day, settings, degree_days=heat, anew=scope.units is None, each=mate.each)
            with timed(progress, "rates and warranty"):
                write_tables(con, rates())
                write_warranty(con, fleet, settings)
            keep_plan_inputs(con, shop, settings)
            with timed(progress, "plan"):
                write_plan(con, shop, day, settings, iterations=QUICK, say=say, each=mate.each)
            _record_run(con, progress, now, day)
            verify(con)
        elif keep_plan_inputs(con, shop, settings):
            write_plan(con, shop, day, settings, iterations=QUICK, say=say)
        edited = write_rejected(con, shop)
        load.finish(con)
        complete_mapping(shop, [taken.entry for taken, _ in progress.staged])
        published = publish(lambda name, values: query(con, name, values), shop, settings, each=mate.each)
    for name in edited:
        say(f"rejected/{name} was edited by you and is left as it is. [edited]")
    lines = [
        *lines_of(progress),
        f"{published.index}: as of {day}, {published.flagged} units flagged, {published.pages} pages",
    ]
    return Summary(lines, bool(progress.refused) or any_rejected(progress.accounts))


def _keep_waiting(con: duckdb.DuckDBPyConnection, shop: Path, progress: Progress) -> Summary:
    """Keep what other tables gave until visits come; without a row of theirs either, nothing was usable."""
    if not only_waiting(progress):
        raise NothingUsable(nothing_usable(progress))
    write_rejected(con, shop)
    load.finish(con)
    complete_mapping(shop, [taken.entry for taken, _ in progress.staged])
    return Summary([*lines_of(progress), NO_VISITS_YET], any_rejected(progress.accounts))


def _scope(con: duckdb.DuckDBPyConnection, touched: pl.Series, day: dt.date, facts: Mapping[str, object]) -> Scope:
    """Return the touched units and those whose visits as-of has newly reached; all if settings or program changed."""
    before = records.last_as_of(con)
    known = dict(query(con, "core.settings").iter_rows())
    if before is None or known != {key: str(value) for key, value in facts.items()}:
        return Scope(None, day)
    reached = query(con, "units_reached", {"low": min(before, day), "high": max(before, day)}).get_column("unit_id")
    return Scope(pl.concat([touched.cast(pl.String), reached]).unique().sort(), day)


def _facts(settings: Settings, **files: pl.DataFrame | None) -> dict[str, object]:
    """Return everything beside the rows that the answers depend on: settings, program, the shop's own tables."""
    digests = {
        name: "" if frame is None else content_digest(frame.write_csv().encode()) for name, frame in files.items()
    }
    makes = json.dumps(settings.warranty.model_dump(mode="json")["makes"], sort_keys=True)
    return {**view_settings(settings), "program.version": program_version(), "warranty.makes": makes, **digests}


def _record_run(con: duckdb.DuckDBPyConnection, progress: Progress, now: dt.datetime, day: dt.date) -> None:
    counts = ("rows_read", "rows_stored", "rows_unchanged", "rows_rejected", "rows_skipped", "values_rejected")
    records.record_run(
        con,
        {
            "started_at": now,
            "finished_at": dt.datetime.now().replace(microsecond=0),
            "as_of": day,
            "program_version": program_version(),
            **{name: sum(getattr(account, name) for _, account in progress.accounts) for name in counts},
            "timings": json.dumps({stage: round(seconds, 3) for stage, seconds in progress.seconds.items()}),
        },
    )
