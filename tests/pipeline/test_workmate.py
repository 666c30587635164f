"""Work shared with a second process ends as work done alone does, whatever becomes of the second process."""

from __future__ import annotations

import multiprocessing
import os
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipeline.workmate import LONG_BYTES, Workmate, alone, is_long


def square(number: int) -> int:
    time.sleep(0.02)
    return number * number


def where(_: int) -> int:
    time.sleep(0.05)
    return os.getpid()


def fails_at_seven(number: int) -> int:
    if number == 7:
        raise ValueError("seven")
    return number


def die_if_second(number: int) -> int:
    if multiprocessing.parent_process() is not None:
        os._exit(9)
    return number


@pytest.fixture
def mate(monkeypatch: pytest.MonkeyPatch) -> Iterator[Workmate]:
    monkeypatch.setattr("pipeline.workmate._processors", lambda: 2)
    with Workmate("json", wanted=True) as mate:
        yield mate


def test_results_come_in_the_order_of_the_items(mate: Workmate) -> None:
    items = list(range(40))
    assert mate.each(square, iter(items)) == alone(square, items) == [n * n for n in items]


def test_both_processes_work(mate: Workmate) -> None:
    mate.lend(where, 0)()
    assert len(set(mate.each(where, range(12)))) == 2


@pytest.mark.parametrize("items", [[], [3]])
def test_nothing_is_lent_where_there_is_nothing_to_share(mate: Workmate, items: list[int]) -> None:
    assert mate.each(where, items) == [os.getpid()] * len(items)


def test_a_failure_is_raised_whichever_process_meets_it(mate: Workmate) -> None:
    for items in ([1, 2, 7], [7, 1, 2], list(range(10))):
        with pytest.raises(ValueError, match="seven"):
            mate.each(fails_at_seven, items)


def test_a_second_process_that_dies_costs_nothing_but_time(mate: Workmate) -> None:
    assert mate.each(die_if_second, range(10)) == list(range(10))
    assert mate.each(square, range(4)) == [0, 1, 4, 9]
    assert mate.lend(square, 5)() == 25


def test_what_was_lent_to_one_that_dies_is_done_here(mate: Workmate) -> None:
    assert mate.lend(die_if_second, 3)() == 3


def test_without_a_second_process_everything_is_done_here() -> None:
    with Workmate() as mate:
        assert mate.each(where, [1, 2]) == [os.getpid()] * 2
        assert mate.lend(where, 1)() == os.getpid()


def test_one_processor_gets_no_second_process(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipeline.workmate._processors", lambda: 1)
    with Workmate("json", wanted=True) as mate:
        assert mate.each(where, range(3)) == [os.getpid()] * 3


def test_only_large_inputs_are_long(tmp_path: Path) -> None:
    (tmp_path / "small.csv").write_text("a\n1\n")
    assert not is_long([tmp_path, tmp_path / "missing.csv"])
    (tmp_path / "large.csv").write_bytes(b"x" * (LONG_BYTES + 1))
    assert is_long([tmp_path])
    assert is_long([tmp_path / "large.csv"])
