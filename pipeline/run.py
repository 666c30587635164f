"""The stages in order. No arithmetic here: it reads, has things computed, and makes them visible at once."""

from __future__ import annotations

import datetime as dt
import json
import re
import tempfile
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import duckdb
import polars as pl

from pipeline import __version__
from pipeline.checks.check import Account
from pipeline.checks.suite import gate, warm_up
from pipeline.config import Settings, default_text, load_settings
from pipeline.derive import Scope, enrich, view_settings
from pipeline.derive_forecast import forecast
from pipeline.derive_rates import write_lives, write_rates, write_warranty
from pipeline.enrich.charge_charts import parse_charts
from pipeline.errors import FileRefused, NothingUsable, StoreError, UsageError
from pipeline.forecast.degree_days import parse_degree_days
from pipeline.ingest import mapping_file
from pipeline.ingest.decode import digest as content_digest
from pipeline.ingest.decode import read_bytes
from pipeline.ingest.discover import Found, discover
from pipeline.ingest.mapping_file import Entry, MappingFile
from pipeline.intake import Intake, Refused, Taken
from pipeline.publish import publish
from pipeline.rejected_files import write_rejected
from pipeline.store import load, records
from pipeline.store.connect import open_store
from pipeline.store.derived import append_rows
from pipeline.store.kept import bring_back, keep_copy, list_copies
from pipeline.store.query import query
from pipeline.store.verify import verify

Say = Callable[[str], None]
STORE = "shop.duckdb"
SETTINGS = "settings.toml"
MAPPING = "mapping.toml"
CHARTS = "charts.csv"
DEGREE_DAYS = "degree_days.csv"


@dataclass(frozen=True)
class Summary:
    """One line per result, and whether any row or value was rejected or a file refused."""

    lines: list[str]
    rejected: bool


@dataclass
class _Progress:
    """What a run has gathered so far."""

    staged: list[tuple[Taken, load.Staged]] = field(default_factory=list)
    refused: list[Refused] = field(default_factory=list)
    repeats: list[str] = field(default_factory=list)
    accounts: list[tuple[str, Account]] = field(default_factory=list)
    seconds: dict[str, float] = field(default_factory=dict)


def run(inputs: Sequence[Path], shop: Path, *, as_of: dt.date | None, today: dt.date, say: Say) -> Summary:
    """Read, check, store, enrich, forecast and publish.

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

    Raises
    ------
    PipelineError
        As the contract's exit statuses; nothing of the run is then stored or published.
    """
    settings = load_settings(shop / SETTINGS)
    mapping = mapping_file.load(shop / MAPPING)
    charts = _charts(shop)
    heat = _degree_days(shop)
    found = list(enumerate(discover(inputs, shop)))
    now = dt.datetime.now().replace(microsecond=0)
    _make_folder(shop)
    store = shop / STORE
    progress = _Progress()
    new = _new_files(store, mapping, found, progress)
    if new:
        keep_copy(store, now)
        warm_up()  # its library loads while files are read
    with open_store(store) as con:
        load.begin(con)
        intake = Intake(mapping, settings, as_of, today, lambda files: load.stored_parts(con, files))
        with _timed(progress, "read and check"):
            _stage_all(con, intake, new, progress, say)
        with _timed(progress, "store"):
            _gate(con, intake, progress)
            _merge_all(con, progress, now)
            touched = load.settle(con)
        _refuse_without_visits(con, progress)
        day = load.as_of(con, as_of, today)
        facts = _facts(settings, charts, heat)
        scope = _scope(con, touched, day, facts)
        if progress.staged or scope.units is None or day != records.last_as_of(con):
            records.record_settings(con, facts)
            with _timed(progress, "enrich"):
                enrich(con, scope, settings, charts)
            with _timed(progress, "forecast"):
                forecast(con, day, settings, anew=scope.units is None)
            with _timed(progress, "rates and warranty"):
                write_rates(con, day, settings)
                write_lives(con, day, settings, heat)
                write_warranty(con, day, settings)
            _record_run(con, progress, now, day)
            verify(con)
        edited = write_rejected(con, shop)
        load.finish(con)
        _write_texts(shop, [taken.entry for taken, _ in progress.staged])
        published = publish(lambda name, values: query(con, name, values), shop, settings)
    for name in edited:
        say(f"rejected/{name} was edited by you and is left as it is. [edited]")
    lines = [
        *_lines(progress),
        f"{published.index}: as of {day}, {published.flagged} units flagged, {published.pages} pages",
    ]
    return Summary(lines, bool(progress.refused) or _any_rejected(progress.accounts))


def check(inputs: Sequence[Path], shop: Path, *, as_of: dt.date | None, today: dt.date, say: Say) -> Summary:
    """Read and check as ``run`` does, against nothing stored; nothing is written."""
    settings = load_settings(shop / SETTINGS)
    intake = Intake(mapping_file.load(shop / MAPPING), settings, as_of, today)
    progress = _Progress()
    for item in intake.take(enumerate(discover(inputs, shop))):
        if isinstance(item, Refused):
            _refuse(item, progress, say)
            continue
        _tell(item, say)
        for row in item.findings.iter_rows(named=True):
            say(f"{row['source_file']} line {row['source_line']}, {row['message']}. {row['advice']} [{row['rule']}]")
        progress.accounts.append((item.file, item.account(item.checked.frame.height, 0)))
    if not progress.accounts:
        raise NothingUsable(_nothing(progress))
    for _, account in progress.accounts:
        account.assert_balanced()
    return Summary(_lines(progress), bool(progress.refused) or _any_rejected(progress.accounts))


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


def _make_folder(shop: Path) -> None:
    """Make the shop folder and see that pages can be written before anything is stored."""
    try:
        (shop / "dashboards").mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=shop / "dashboards"):
            pass
        if not (shop / SETTINGS).exists():
            (shop / SETTINGS).write_text(default_text(), "utf-8")
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise StoreError(
            f"the shop folder {shop.name or '.'} cannot be written ({reason}): free it or name another with --shop; "
            "nothing was changed",
            slug="store-unwritable",
        ) from error


def _new_files(
    store: Path, mapping: MappingFile, found: list[tuple[int, Found]], progress: _Progress
) -> list[tuple[int, Found]]:
    """Return the files whose content was not imported under the same mapping entry before."""
    if not store.exists():
        return found
    new = []
    with open_store(store, read_only=True) as con:
        for place, item in found:
            entry = mapping.entry_for(item.name)
            if entry is not None and _is_known(con, item, entry):
                progress.repeats.append(item.name)
            else:
                new.append((place, item))
    return new


def _is_known(con: duckdb.DuckDBPyConnection, item: Found, entry: Entry) -> bool:
    try:
        content = read_bytes(item.path, item.name)
    except FileRefused:
        return False
    return records.already_imported(con, content_digest(content), mapping_file.entry_digest(entry))


def _stage_all(
    con: duckdb.DuckDBPyConnection,
    intake: Intake,
    found: Iterable[tuple[int, Found]],
    progress: _Progress,
    say: Say,
) -> None:
    next_id = records.next_import_id(con)
    for item in intake.take(found):
        if isinstance(item, Refused):
            _refuse(item, progress, say)
            continue
        _tell(item, say)
        staged = load.stage(con, item.checked.table, item.checked.frame, next_id + len(progress.staged))
        progress.staged.append((item, staged))


def _gate(con: duckdb.DuckDBPyConnection, intake: Intake, progress: _Progress) -> None:
    for table in dict.fromkeys(staged.table for _, staged in progress.staged):
        own = [(item, staged) for item, staged in progress.staged if staged.table == table]
        columns = list(dict.fromkeys(name for _, staged in own for name in staged.columns))
        result = gate(con, table, columns, intake.latest)
        result.raise_if_failed(", ".join(item.file for item, _ in own[:3]))
        records.record_expectations(con, result.expectations, table, [staged.import_id for _, staged in own])


def _merge_all(con: duckdb.DuckDBPyConnection, progress: _Progress, now: dt.datetime) -> None:
    for item, staged in sorted(progress.staged, key=lambda pair: (pair[0].place, pair[1].import_id)):
        merged = load.merge(con, staged, file=item.file, now=now)
        account = item.account(merged.stored, merged.unchanged)
        account.assert_balanced()
        records.record_import(
            con,
            records.Import(
                import_id=staged.import_id,
                file=item.file,
                table_name=staged.table,
                sha256=item.raw.sha256,
                mapping_digest=item.digest,
                encoding=item.raw.encoding,
                encoding_confidence=item.raw.encoding_confidence,
                delimiter=item.raw.delimiter,
                imported_at=now,
                rows_read=account.rows_read,
                rows_stored=account.rows_stored,
                rows_unchanged=account.rows_unchanged,
                rows_rejected=account.rows_rejected,
                rows_skipped=account.rows_skipped,
                values_rejected=account.values_rejected,
            ),
        )
        records.record_findings(con, item.findings, staged.import_id, table=staged.table, file=item.file)
        if staged.table == "visits":
            records.record_suspects(con, item.checked.suspects, staged.import_id, staged.columns)
        append_rows(
            con,
            "rejected_records",
            item.records.select(
                "source_file",
                "source_line",
                "cells",
                "raw",
                import_id=pl.lit(staged.import_id, dtype=pl.Int64),
                header=pl.lit(pl.Series([list(item.raw.header)], dtype=pl.List(pl.String))).first(),
            ),
        )
        progress.accounts.append((item.file, account))


def _refuse_without_visits(con: duckdb.DuckDBPyConnection, progress: _Progress) -> None:
    if query(con, "visits_counted").item() == 0:
        raise NothingUsable(_nothing(progress))


def _nothing(progress: _Progress) -> str:
    """Return the one sentence for an input without a usable visit, naming the first reason."""
    findings = [item.findings for item, _ in progress.staged if item.findings.height]
    if progress.refused:
        return f"no visit could be used, nothing was changed; first: {_without_slug(progress.refused[0].sentence)}"
    if findings:
        return f"no visit could be used, nothing was changed; first: {findings[0].get_column('message').item(0)}"
    return "no visits among the files: give a file of visits, with a date and a unit or address on each row"


def _without_slug(sentence: str) -> str:
    return re.sub(r" \[[a-z-]+\]$", "", sentence)


def _scope(con: duckdb.DuckDBPyConnection, touched: pl.Series, day: dt.date, facts: Mapping[str, object]) -> Scope:
    """Return the touched units and those whose visits as-of has newly reached; all if settings or program changed."""
    before = records.last_as_of(con)
    known = dict(query(con, "core.settings").iter_rows())
    if before is None or known != {key: str(value) for key, value in facts.items()}:
        return Scope(None, day)
    reached = query(con, "units_reached", {"low": min(before, day), "high": max(before, day)}).get_column("unit_id")
    return Scope(pl.concat([touched.cast(pl.String), reached]).unique().sort(), day)


def _facts(settings: Settings, charts: pl.DataFrame | None, heat: pl.DataFrame | None) -> dict[str, object]:
    """Return everything beside the rows that the answers depend on."""
    files = {"charts": charts, "degree_days": heat}
    digests = {
        name: "" if frame is None else content_digest(frame.write_csv().encode()) for name, frame in files.items()
    }
    makes = json.dumps(settings.warranty.model_dump(mode="json")["makes"], sort_keys=True)
    return {**view_settings(settings), "program.version": __version__, "warranty.makes": makes, **digests}


def _charts(shop: Path) -> pl.DataFrame | None:
    """Return the shop's own target superheat charts, if it has any."""
    path = shop / CHARTS
    try:
        return parse_charts(path.read_text("utf-8"), name=CHARTS) if path.exists() else None
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(f"{CHARTS} cannot be read ({type(error).__name__}): save it as UTF-8 CSV") from error


def _degree_days(shop: Path) -> pl.DataFrame | None:
    """Return the heat of past seasons, if the shop keeps it."""
    path = shop / DEGREE_DAYS
    try:
        return parse_degree_days(path.read_text("utf-8"), name=DEGREE_DAYS) if path.exists() else None
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(f"{DEGREE_DAYS} cannot be read ({type(error).__name__}): save it as UTF-8 CSV") from error


def _record_run(con: duckdb.DuckDBPyConnection, progress: _Progress, now: dt.datetime, day: dt.date) -> None:
    counts = ("rows_read", "rows_stored", "rows_unchanged", "rows_rejected", "rows_skipped", "values_rejected")
    records.record_run(
        con,
        {
            "started_at": now,
            "finished_at": dt.datetime.now().replace(microsecond=0),
            "as_of": day,
            "program_version": __version__,
            **{name: sum(getattr(account, name) for _, account in progress.accounts) for name in counts},
            "timings": json.dumps({stage: round(seconds, 3) for stage, seconds in progress.seconds.items()}),
        },
    )


def _write_texts(shop: Path, entries: Iterable[Entry]) -> None:
    """Add to the mapping file how each file was read."""
    path = shop / MAPPING
    text = path.read_text("utf-8-sig") if path.exists() else ""
    complete = mapping_file.complete(text, entries)
    if complete != text:
        path.write_text(complete, "utf-8")


def _refuse(item: Refused, progress: _Progress, say: Say) -> None:
    progress.refused.append(item)
    say(item.sentence)


def _tell(item: Taken, say: Say) -> None:
    for note in item.parsed.notes:
        say(f"{item.file}: {note}.")
    if item.unmapped:
        named = ", ".join(f'"{header}"' for header in item.unmapped)
        say(f"{item.file}: not used, name them in {MAPPING} if they matter: {named}. [unmapped]")


def _lines(progress: _Progress) -> list[str]:
    lines = [f"{file}: {_counts(account)}" for file, account in progress.accounts]
    if progress.repeats:
        lines.append(f"{len(progress.repeats)} files already imported, not read again: {', '.join(progress.repeats)}")
    if progress.refused:
        lines.append(f"{len(progress.refused)} files refused: {', '.join(item.file for item in progress.refused)}")
    return lines


def _counts(account: Account) -> str:
    return (
        f"{account.rows_read} rows read = {account.rows_stored} stored + {account.rows_unchanged} unchanged + "
        f"{account.rows_rejected} rejected + {account.rows_skipped} skipped; {account.values_rejected} values rejected"
    )


def _any_rejected(accounts: Sequence[tuple[str, Account]]) -> bool:
    return any(account.rows_rejected or account.values_rejected for _, account in accounts)


class _timed:  # noqa: N801 - reads as a word at its place
    """Adds the seconds of a ``with`` block to the run's record."""

    def __init__(self, progress: _Progress, stage: str) -> None:
        self.progress, self.stage = progress, stage

    def __enter__(self) -> None:
        self.began = time.perf_counter()

    def __exit__(self, *_: object) -> None:
        self.progress.seconds[self.stage] = time.perf_counter() - self.began
