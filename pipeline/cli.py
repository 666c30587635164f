"""The command line: arguments, messages and exit statuses. The only module that prints."""

from __future__ import annotations

import datetime as dt
import os
import sys
import traceback
from contextlib import suppress
from pathlib import Path
from typing import Annotated

import typer
from typer.exceptions import TyperException

from pipeline import __version__
from pipeline.errors import PipelineError, UsageError, cut

REJECTED = 1
USAGE = 2
OWN_FAULT = 4
INTERRUPTED = 130

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

Inputs = Annotated[list[Path], typer.Argument(metavar="FILES_OR_FOLDERS...", help="CSV exports, or folders of them.")]
Shop = Annotated[Path, typer.Option("--shop", metavar="DIR", help="The shop folder: store, settings and pages.")]
AsOf = Annotated[
    str | None,
    typer.Option("--as-of", metavar="DATE", help="Day to look from (YYYY-MM-DD); default: the newest visit."),
]
DEFAULT_SHOP = Path("shop")


def _print_version(wanted: bool) -> None:
    if wanted:
        print(f"preseason {__version__}")
        raise typer.Exit


@app.callback()
def _top(
    version: Annotated[
        bool, typer.Option("--version", is_eager=True, callback=_print_version, help="Print the version and stop.")
    ] = False,
) -> None:
    """Which air-conditioning units will leave a customer without cooling, known before the season."""


@app.command()
def run(
    inputs: Inputs,
    shop: Shop = DEFAULT_SHOP,
    as_of: AsOf = None,
    strict: Annotated[bool, typer.Option("--strict", help="Exit with 1 where a row or value was rejected.")] = False,
) -> None:
    """Read, check, store, enrich, forecast and publish: the main job."""
    from pipeline.workmate import Workmate, collect_rarely, is_long

    day = _date(as_of)
    collect_rarely()
    with Workmate("pipeline.run", wanted=is_long(inputs)) as mate:  # loads while this process does
        from pipeline.run import run as run_pipeline

        summary = run_pipeline(inputs, shop, as_of=day, today=_today(), say=_say, mate=mate)
    for line in summary.lines:
        print(line)
    if strict and summary.rejected:
        raise typer.Exit(REJECTED)


@app.command()
def check(inputs: Inputs, shop: Shop = DEFAULT_SHOP, as_of: AsOf = None) -> None:
    """Read and check as `run` does; store and publish nothing."""
    from pipeline.commands import check as check_pipeline

    summary = check_pipeline(inputs, shop, as_of=_date(as_of), today=_today(), say=_say)
    for line in summary.lines:
        print(line)
    if summary.rejected:
        raise typer.Exit(REJECTED)


@app.command("map")
def propose_map(inputs: Inputs, shop: Shop = DEFAULT_SHOP) -> None:
    """Propose the mapping file for exports with unfamiliar headers, on standard output."""
    from pipeline.commands import propose_mapping

    print(propose_mapping(inputs, shop, say=_say), end="")


@app.command()
def show(file: Annotated[Path, typer.Argument(metavar="FILE", help="One text file.")]) -> None:
    """Print a file as it was understood, as plain UTF-8 comma CSV."""
    from pipeline.ingest.show import show as show_file

    shown = show_file(file)
    for note in shown.notes:
        _say(note)
    for piece in shown.chunks():
        sys.stdout.buffer.write(piece)
    sys.stdout.buffer.flush()


@app.command()
def publish(
    shop: Shop = DEFAULT_SHOP,
    unit: Annotated[list[str] | None, typer.Option("--unit", metavar="ID", help="Also a page for this unit.")] = None,
    no_names: Annotated[bool, typer.Option("--no-names", help="Without any name, phone or street.")] = False,
) -> None:
    """Write the dashboards again from what is stored."""
    from pipeline.commands import publish_again

    for line in publish_again(shop, units=tuple(unit or ()), no_names=no_names):
        print(line)


@app.command()
def plan(
    shop: Shop = DEFAULT_SHOP,
    first: Annotated[str | None, typer.Option("--from", metavar="DATE", help="First day of the round.")] = None,
    last: Annotated[str | None, typer.Option("--to", metavar="DATE", help="Last day of the round.")] = None,
    technician: Annotated[
        list[str] | None, typer.Option("--technician", metavar="NAME", help="Who goes; repeat it. Default: all.")
    ] = None,
    hours: Annotated[
        str | None, typer.Option("--hours", metavar="HH:MM-HH:MM", help="Working hours of everybody.")
    ] = None,
    free_share: Annotated[
        float | None, typer.Option("--free-share", metavar="PERCENT", help="Share of each day kept free.")
    ] = None,
    service_level: Annotated[
        float | None,
        typer.Option("--service-level", metavar="SHARE", help="Chance that the parts on board are enough, as 0.95."),
    ] = None,
) -> None:
    """Plan the spring round again and write the pages: other technicians, days, hours or limits."""
    from pipeline.commands import Asked, plan_again

    asked = Asked(
        first=_date(first, "--from"),
        last=_date(last, "--to"),
        technicians=tuple(technician or ()),
        hours=hours,
        free_share_pct=free_share,
        service_level=service_level,
    )
    for line in plan_again(shop, asked, say=_say):
        print(line)


@app.command()
def backtest(shop: Shop = DEFAULT_SHOP) -> None:
    """Say how earlier seasons' forecasts would have done."""
    from pipeline.commands import backtest_lines

    for line in backtest_lines(shop):
        print(line)


@app.command()
def restore(
    shop: Shop = DEFAULT_SHOP,
    copy: Annotated[str | None, typer.Argument(metavar="[COPY]", help="Which kept copy to bring back.")] = None,
) -> None:
    """List the kept copies of the store, or bring one back."""
    from pipeline.commands import restore_copy

    for line in restore_copy(shop, copy):
        print(line)


def main(arguments: list[str] | None = None) -> int:
    """Run one command and return the contract's exit status; no traceback ever reaches the user."""
    command = typer.main.get_command(app)
    given = sys.argv[1:] if arguments is None else arguments
    try:
        result = command.main(args=given, prog_name="preseason", standalone_mode=False)
    except TyperException as error:
        _say(_usage(error))
        return USAGE
    except (KeyboardInterrupt, typer.Abort):
        result = INTERRUPTED
    except PipelineError as error:
        if error.slug == PipelineError.slug:
            return _own_fault(given)
        _say(f"preseason: {error.sentence()}")
        return error.exit_status
    except BrokenPipeError:
        return 0
    except Exception:
        return _own_fault(given)
    if result == INTERRUPTED:  # also what typer makes of the key
        _say("preseason: interrupted; no run is half stored or half published: give the command again. [interrupted]")
    return result if isinstance(result, int) else 0


def entry() -> None:
    """Run one command and end at once: to take apart all that was loaded would take most of a second."""
    status = main()
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError):
            stream.flush()
    os._exit(status)


def _usage(error: TyperException) -> str:
    """Return the usage error as one sentence; a bare `preseason` answers with its help instead."""
    message = error.format_message()
    return message if "\n" in message.strip() else f"preseason: {message} See `preseason --help`. [usage]"


def _own_fault(given: list[str]) -> int:
    """Keep the details in the shop folder's error.log and say one sentence."""
    folder = _shop_of(given)
    kept = "no error.log could be written"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with (folder / "error.log").open("a", encoding="utf-8") as log:
            log.write(f"{_today().isoformat()} preseason {__version__} {' '.join(given[:1])}\n")
            # Values of the shop's customers must not get into a log: the frames' code lines only.
            fault = sys.exc_info()[1]
            while fault is not None:
                log.writelines(traceback.format_tb(fault.__traceback__))
                log.write(f"{type(fault).__name__}\n")
                fault = fault.__cause__
        kept = f"details are in {folder / 'error.log'}"
    except OSError:
        pass
    _say(f"preseason: a fault of the program, not of your files; {kept}; nothing was half-published. [own-fault]")
    return OWN_FAULT


def _shop_of(given: list[str]) -> Path:
    for position, word in enumerate(given):
        if word == "--shop" and position + 1 < len(given):
            return Path(given[position + 1])
        if word.startswith("--shop="):
            return Path(word.removeprefix("--shop="))
    return DEFAULT_SHOP


def _date(text: str | None, option: str = "--as-of") -> dt.date | None:
    if text is None:
        return None
    try:
        return dt.date.fromisoformat(text)
    except ValueError as error:
        raise UsageError(f"{option} {cut(text)!r} is not a date: write it as 2026-03-14") from error


def _today() -> dt.date:
    return dt.date.today()


def _say(message: str) -> None:
    print(message, file=sys.stderr)
