"""A rejected file the user has edited is never overwritten, and two sources never share one."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.checks.reject_files import Writing, decide_write, rejected_name

NAME = "jobs.csv"


@pytest.mark.parametrize("name", ["jobs.csv", "jobs [1].csv", "Aufträge 2024.csv"])
def test_plain_names_stay(name: str) -> None:
    """The user finds the file under its own name."""
    assert rejected_name(name) == name


@pytest.mark.parametrize(
    "name", ["2023/jobs.csv", "../jobs.csv", "jobs.txt", "a\\b.csv", ".csv", "/", "x" * 300 + ".txt"]
)
def test_other_names_are_flattened(name: str) -> None:
    """No separator, no leading dot, and a length every system takes."""
    safe = rejected_name(name)
    assert safe.endswith(".csv")
    assert not set(safe) & set("/\\")
    assert not safe.startswith(".")
    assert len(safe) < 120


@settings(deadline=None, max_examples=50)
@given(st.lists(st.text(alphabet="ab/_.\\ ", max_size=6).map(lambda stem: stem + ".csv"), unique=True, min_size=2))
def test_two_sources_never_share_a_file(names: list[str]) -> None:
    """Flattening alone would make a/b.csv and a_b.csv one."""
    assert len({rejected_name(name) for name in names}) == len(names)


def test_first_time() -> None:
    """Nothing there yet."""
    assert decide_write(NAME, "new", {}, {}) == Writing(NAME, (), ())


def test_our_own_file_is_replaced() -> None:
    """Its digest is what we last wrote."""
    assert decide_write(NAME, "new", {NAME: "old"}, {NAME: "old"}) == Writing(NAME, (), ())


def test_edited_file_is_kept_and_the_new_one_goes_beside() -> None:
    """The user's work is not lost."""
    assert decide_write(NAME, "new", {NAME: "edited"}, {NAME: "old"}) == Writing("jobs (2).csv", (), (NAME,))


def test_file_we_know_nothing_of_is_the_users() -> None:
    """No record of having written it."""
    assert decide_write(NAME, "new", {NAME: "other"}, {}).keep == (NAME,)


def test_neighbour_of_ours_is_replaced_not_multiplied() -> None:
    """The second file beside an edited one is ours: next time it is replaced."""
    disk = {NAME: "edited", "jobs (2).csv": "second"}
    assert decide_write(NAME, "new", disk, {NAME: "old", "jobs (2).csv": "second"}).write == "jobs (2).csv"


def test_same_text_is_not_written_again() -> None:
    """Times of files stay as they are when nothing changed."""
    assert decide_write(NAME, "same", {NAME: "same"}, {NAME: "same"}) == Writing(None, (), ())


def test_all_put_right_removes_ours_and_keeps_the_users() -> None:
    """No list is left that says something is wrong, but an edited file stays."""
    assert decide_write(NAME, None, {NAME: "old"}, {NAME: "old"}) == Writing(None, (NAME,), ())
    assert decide_write(NAME, None, {NAME: "edited"}, {NAME: "old"}) == Writing(None, (), (NAME,))


def test_case_of_the_name_does_not_matter() -> None:
    """Two spellings are one file on many systems."""
    assert decide_write(NAME, "new", {"JOBS.CSV": "edited"}, {}).write == "jobs (2).csv"


DIGEST = st.sampled_from(["a", "b", "c"])
NAMES = st.sampled_from([NAME, "jobs (2).csv", "jobs (3).csv"])


@settings(deadline=None, max_examples=50)
@given(st.one_of(st.none(), DIGEST), st.dictionaries(NAMES, DIGEST), st.dictionaries(NAMES, DIGEST))
def test_nothing_of_the_users_is_ever_written_or_removed(
    new: str | None, disk: dict[str, str], written: dict[str, str]
) -> None:
    """Whatever lies in the folder."""
    got = decide_write(NAME, new, disk, written)
    theirs = {name for name, digest in disk.items() if digest not in {written.get(name), new}}
    assert not theirs & {got.write, *got.remove}
    if new is not None:
        assert got.write is not None or new in disk.values()
