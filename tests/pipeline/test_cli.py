"""The command line: exit statuses and the one sentence for what ended a command."""

from __future__ import annotations

from pathlib import Path

import duckdb
import pytest

import pipeline.commands
from pipeline.cli import INTERRUPTED, OWN_FAULT, main
from pipeline.store.connect import explain

SECRET = "Ilka Venn, 4 Quarry Lane"


def fails(monkeypatch: pytest.MonkeyPatch, error: BaseException) -> None:
    def publish_again(*_: object, **__: object) -> list[str]:
        raise error

    monkeypatch.setattr(pipeline.commands, "publish_again", publish_again)


def test_the_interrupt_key_ends_with_its_status_and_one_sentence(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    fails(monkeypatch, KeyboardInterrupt())
    assert main(["publish", "--shop", str(tmp_path)]) == INTERRUPTED
    assert capsys.readouterr().err.split("preseason: ")[1].startswith("interrupted; no run is half stored")


def test_a_fault_of_the_store_leaves_its_details_in_the_log_without_values(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """An error of the engine that no sentence is kept for is the program's own fault."""
    engine = duckdb.ConversionException(f"Could not convert string '{SECRET}'")
    error = explain(engine, tmp_path / "shop.duckdb")
    error.__cause__ = engine
    fails(monkeypatch, error)
    assert main(["publish", "--shop", str(tmp_path)]) == OWN_FAULT
    said = capsys.readouterr().err
    log = (tmp_path / "error.log").read_text("utf-8")
    assert "error.log" in said
    assert "ConversionException" in log
    assert SECRET not in said + log
