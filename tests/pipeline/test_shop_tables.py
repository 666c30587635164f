"""Tables that a shop keeps in its own folder: read where they are, refused with their place where they cannot be."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.errors import UsageError
from pipeline.shop_folder import blowers_of, charts_of


def test_a_shop_without_its_own_tables_has_none(tmp_path: Path) -> None:
    assert charts_of(tmp_path) is None
    assert blowers_of(tmp_path) is None


def test_both_tables_are_read_from_the_shop_folder(tmp_path: Path) -> None:
    (tmp_path / "charts.csv").write_text("unit_id,model,return_wb_f,outdoor_db_f,target_superheat_f\nU,,60,80,12\n")
    (tmp_path / "blowers.csv").write_text("unit_id,model,speed,static_in_wc,airflow_cfm\n,AH-36,low,0.5,900\n")
    charts, blowers = charts_of(tmp_path), blowers_of(tmp_path)
    assert charts is not None
    assert charts["target_superheat_f"].to_list() == [12.0]
    assert blowers is not None
    assert blowers["airflow_cfm"].to_list() == [900.0]


@pytest.mark.parametrize("name", ["charts.csv", "blowers.csv"])
def test_a_table_that_is_no_text_is_refused_with_its_name(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(b"\xff\xfe\x00unit")
    with pytest.raises(UsageError, match=f"{name} cannot be read.*save it as UTF-8 CSV"):
        (charts_of if name == "charts.csv" else blowers_of)(tmp_path)
