"""Paths mean files: folders with what is below them, in natural order, nothing twice, no links out."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.errors import FileRefused, NothingUsable, UsageError
from pipeline.ingest.discover import discover, natural_key
from pipeline.ingest.read import read_table


def _write(path: Path, text: str = "Ticket,Unit\n1,U1\n") -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)
    return path


def test_a_folder_means_the_files_in_it_and_below_in_natural_order(tmp_path: Path) -> None:
    for name in ("jobs_10.csv", "jobs_2.csv", "2023/jobs_1.csv", "notes.txt"):
        _write(tmp_path / "exports" / name)
    found = discover([tmp_path / "exports"], tmp_path / "shop")
    assert [f.name for f in found] == ["2023/jobs_1.csv", "jobs_2.csv", "jobs_10.csv", "notes.txt"]


def test_the_shop_folder_and_links_are_left_out(tmp_path: Path) -> None:
    folder = tmp_path / "exports"
    _write(folder / "jobs.csv")
    _write(folder / "shop" / "rejected" / "jobs.csv")
    outside = _write(tmp_path / "outside" / "secret.csv")
    (folder / "link.csv").symlink_to(outside)
    (folder / "folder").symlink_to(outside.parent)
    (folder / "round").symlink_to(folder)
    assert [f.name for f in discover([folder], folder / "shop")] == ["jobs.csv"]


def test_a_file_in_the_shop_folder_can_still_be_named(tmp_path: Path) -> None:
    rejected = _write(tmp_path / "shop" / "rejected" / "jobs.csv")
    assert [f.path for f in discover([rejected], tmp_path / "shop")] == [rejected]


def test_a_file_given_twice_counts_once(tmp_path: Path) -> None:
    path = _write(tmp_path / "jobs.csv")
    assert len(discover([path, tmp_path, path], tmp_path / "shop")) == 1


def test_two_files_of_one_name_are_told_apart(tmp_path: Path) -> None:
    one, two = _write(tmp_path / "a" / "jobs.csv"), _write(tmp_path / "b" / "jobs.csv")
    names = [f.name for f in discover([one, two], tmp_path / "shop")]
    assert len(set(names)) == 2
    assert all(name.endswith("jobs.csv") for name in names)


def test_a_missing_path_and_an_empty_folder_are_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"gone\.csv does not exist"):
        discover([tmp_path / "gone.csv"], tmp_path / "shop")
    with pytest.raises(NothingUsable, match="no file"):
        discover([tmp_path], tmp_path / "shop")


def test_system_droppings_are_no_input(tmp_path: Path) -> None:
    for name in (".DS_Store", "~$jobs.csv", "Thumbs.db", ".git/config", "jobs.csv"):
        _write(tmp_path / name)
    assert [f.name for f in discover([tmp_path], tmp_path / "shop")] == ["jobs.csv"]


def test_of_a_thousand_files_three_are_refused_by_content(tmp_path: Path) -> None:
    for n in range(1000):
        _write(tmp_path / f"jobs_{n}.csv", f"Ticket,Unit\n{n},U1\n")
    for n in (17, 500, 999):
        (tmp_path / f"jobs_{n}.csv").write_bytes(b"PK\x03\x04" + bytes(50))
    refused, rows = [], 0
    for found in discover([tmp_path], tmp_path / "shop"):
        try:
            rows += read_table(found.path, found.name).cells.height
        except FileRefused as error:
            refused.append(error.message.split(" is ")[0])
    assert refused == ["jobs_17.csv", "jobs_500.csv", "jobs_999.csv"]
    assert rows == 997


def test_digits_of_any_length_and_script_sort() -> None:
    names = ["a²", "a10", "a9", "a" + "9" * 5000, "A1", "", "٣"]
    assert [name for name in sorted(names, key=natural_key) if name in {"A1", "a9", "a10"}] == ["A1", "a9", "a10"]


def test_names_that_look_like_patterns_are_names(tmp_path: Path) -> None:
    _write(tmp_path / "jobs 1.csv", "Ticket,Unit\nwrong,U1\n")
    path = _write(tmp_path / "jobs [1].csv", "Ticket,Unit\nright,U1\n")
    star = _write(tmp_path / "jobs *.csv", "Ticket,Unit\nstar,U1\n")
    assert read_table(path, path.name).cells["c0"].to_list() == ["right"]
    assert read_table(star, star.name).cells["c0"].to_list() == ["star"]
