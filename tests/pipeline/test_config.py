"""Settings: defaults, and one sentence for each way to get them wrong."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from pipeline.config import Settings, default_text, load_settings
from pipeline.errors import UsageError


def test_a_missing_file_gives_the_defaults(tmp_path: Path) -> None:
    assert load_settings(tmp_path / "settings.toml") == Settings()


def test_the_fresh_file_changes_nothing_and_names_every_setting(tmp_path: Path) -> None:
    text = default_text()
    (tmp_path / "settings.toml").write_text(text, "utf-8")
    assert load_settings(tmp_path / "settings.toml") == Settings()
    opened = tomllib.loads(text)
    assert set(opened) == set(Settings.model_fields) - {"technicians"}  # a block each, shown as an example
    for name in opened:
        section = Settings.model_fields[name]
        for key in type(section.default).model_fields:
            assert f"# {key} = " in text, f"{name}.{key} is missing"
    assert "charts.csv" in text  # the two files of the user's own that the charge is judged by
    assert "blowers.csv" in text


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[season\n", "not valid TOML"),
        ("[season]\nstrat = '05-01'\n", "season.strat: there is no such setting"),
        ("[season]\nstart = '13-40'\n", "season.start"),
        ("[units]\nunseen_months = 0\n", "units.unseen_months"),
        ("[shop]\nline_frequency_hz = 55\n", "shop.line_frequency_hz"),
        ("colour = 'red'\n", "colour"),
    ],
)
def test_a_wrong_setting_is_one_sentence_that_names_it(tmp_path: Path, text: str, said: str) -> None:
    (tmp_path / "settings.toml").write_text(text, "utf-8")
    with pytest.raises(UsageError, match=said) as caught:
        load_settings(tmp_path / "settings.toml")
    assert "\n" not in caught.value.sentence()
    assert caught.value.exit_status == 2


def test_a_file_that_is_not_text_is_named(tmp_path: Path) -> None:
    (tmp_path / "settings.toml").write_bytes(b"\xff\xfe\x00\x81")
    with pytest.raises(UsageError, match=r"settings\.toml"):
        load_settings(tmp_path / "settings.toml")


def test_a_byte_order_mark_from_a_text_editor_changes_nothing(tmp_path: Path) -> None:
    (tmp_path / "settings.toml").write_text("[shop]\nname = 'Orlo'\n", "utf-8-sig")
    assert load_settings(tmp_path / "settings.toml").shop.name == "Orlo"


def test_a_folder_that_is_a_file_has_no_settings(tmp_path: Path) -> None:
    (tmp_path / "shop").write_text("a file", "utf-8")
    assert load_settings(tmp_path / "shop" / "settings.toml") == Settings()
