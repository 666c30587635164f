"""The store is locked, alone with its writer, and says in one sentence what is wrong with it."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import duckdb
import pytest

from pipeline.errors import StoreError
from pipeline.store.connect import open_store, writer_lock

ROOT = Path(__file__).parents[3]


@pytest.mark.parametrize(
    "statement",
    [
        "select * from read_csv('{file}')",
        "copy (select 1 as a) to '{file}.out'",
        "attach '{file}.duckdb'",
        "install httpfs",
        "load '{file}'",
        "set enable_external_access = true",
        "set lock_configuration = false",
        "select * from secret_frame",
    ],
)
def test_store_reads_and_writes_nothing_but_itself(con, tmp_path, statement):
    file = tmp_path / "outside.csv"
    file.write_text("a\n1\n")
    secret_frame = [1]  # noqa: F841  a Python variable the engine would otherwise find by its name
    with pytest.raises(duckdb.Error):
        con.execute(statement.format(file=file))
    assert not file.with_name("outside.csv.out").exists()


def test_second_writer_of_one_process_is_told(path):
    with open_store(path), pytest.raises(StoreError, match="in use by another program") as caught, open_store(path):
        pass
    assert (caught.value.slug, caught.value.exit_status) == ("store-in-use", 4)


def hold(path: Path, how: str) -> subprocess.Popen[str]:
    text = f"import sys, pathlib\nfrom pipeline.store.connect import *\nwith {how}(pathlib.Path({str(path)!r})):\n"
    text += "    print('held', flush=True)\n    sys.stdin.read()\n"
    other = subprocess.Popen(
        [sys.executable, "-c", text], stdin=subprocess.PIPE, stdout=subprocess.PIPE, cwd=ROOT, text=True
    )
    assert other.stdout is not None
    assert other.stdout.readline() == "held\n"
    return other


@pytest.mark.parametrize("read_only", [False, True])
def test_store_held_by_another_process_is_told(path, read_only):
    with hold(path, "open_store") as other:
        with pytest.raises(StoreError, match="in use"), open_store(path, read_only=read_only):
            pass
        other.communicate()
    with open_store(path, read_only=read_only) as con:
        assert con.execute("select count(*) from visits").fetchall() == [(0,)]


def test_process_killed_in_the_middle_leaves_the_store_as_it_was(path):
    with open_store(path) as con:
        con.execute("insert into core.settings values ('a', '1')")
    text = (
        f"import os, pathlib\nfrom pipeline.store.connect import open_store\n"
        f"with open_store(pathlib.Path({str(path)!r})) as con:\n"
        "    con.begin()\n"
        "    con.execute(\"insert into core.settings select 'b', repeat('x', 1000) from range(200000)\")\n"
        f"    os.kill(os.getpid(), {int(signal.SIGKILL)})\n"
    )
    assert subprocess.run([sys.executable, "-c", text], cwd=ROOT, check=False).returncode == -signal.SIGKILL
    with open_store(path) as con:
        assert con.execute("select * from core.settings").fetchall() == [("a", "1")]


def test_file_that_is_no_store_is_damaged_and_left_alone(path):
    path.parent.mkdir()
    path.write_bytes(b"visit_id,unit_id\n" * 1000)
    with pytest.raises(StoreError, match="damaged") as caught, open_store(path):
        pass
    assert "restore" in caught.value.sentence()
    assert path.read_bytes().startswith(b"visit_id")


def test_flipped_byte_is_damage(path):
    with open_store(path):
        pass
    data = bytearray(path.read_bytes())
    data[100] ^= 1
    path.write_bytes(bytes(data))
    with pytest.raises(StoreError, match="damaged"), open_store(path):
        pass


def test_newer_store_is_refused_by_writer_and_reader(path):
    with open_store(path) as con:
        con.execute("insert into core.schema_version values (9999, '9999_later.sql')")
    for read_only in (False, True):
        with pytest.raises(StoreError, match="newer version"), open_store(path, read_only=read_only):
            pass


def test_reader_without_a_store_is_told_to_import_first(path):
    with pytest.raises(StoreError, match="run the import first"), open_store(path, read_only=True):
        pass
    assert not path.parent.exists()


def test_readers_share_the_store(path):
    with open_store(path):
        pass
    with open_store(path, read_only=True) as one, open_store(path, read_only=True) as other:
        assert one.execute("select 1").fetchall() == other.execute("select 1").fetchall()
        with pytest.raises(duckdb.Error):
            one.execute("delete from imports")


def test_folder_that_cannot_be_made_is_told(tmp_path):
    (tmp_path / "shop").write_text("a file where the folder should be")
    with pytest.raises(StoreError, match="cannot be written"), open_store(tmp_path / "shop" / "shop.duckdb"):
        pass


@pytest.mark.skipif(os.geteuid() == 0, reason="root writes everywhere")
def test_read_only_folder_is_told(path):
    path.parent.mkdir()
    path.parent.chmod(0o500)
    with pytest.raises(StoreError, match="cannot be written"), open_store(path):
        pass


def test_full_disk_is_told_and_changes_nothing(path):
    with open_store(path) as con:
        con.execute("insert into core.settings values ('a', '1')")
    size = path.stat().st_size
    text = (
        "import pathlib, resource, signal\nfrom pipeline.errors import StoreError\n"
        "from pipeline.store.connect import open_store\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        f"resource.setrlimit(resource.RLIMIT_FSIZE, ({size} + 2_000_000,) * 2)\n"
        f"try:\n    with open_store(pathlib.Path({str(path)!r})) as con:\n"
        "        con.begin()\n"
        '        con.execute("insert into core.settings select md5(i::text), null from range(900000) t(i)")\n'
        "        con.commit()\n"
        "except StoreError as error:\n    print(error.slug)\n"
    )
    done = subprocess.run([sys.executable, "-c", text], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.stdout == "disk-full\n", done.stderr
    with open_store(path) as con:
        assert con.execute("select * from core.settings").fetchall() == [("a", "1")]


def test_lock_is_free_again_after_an_error(path):
    path.parent.mkdir()
    with pytest.raises(ZeroDivisionError), writer_lock(path):
        raise ZeroDivisionError
    with writer_lock(path):
        pass
