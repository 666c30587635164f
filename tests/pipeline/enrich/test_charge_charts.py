"""A shop's own chart file: what is read, what is refused and in which words."""

from __future__ import annotations

import pytest

from pipeline.enrich.charge import charge_readings
from pipeline.enrich.charge_charts import CHARTS_SCHEMA, parse_charts
from pipeline.errors import UsageError
from tests.charge_states import frames, reading, unit

HEADER = "unit_id,model,return_wb_f,outdoor_db_f,target_superheat_f\n"


def test_a_chart_by_model_is_read_and_used_and_a_dash_is_no_target() -> None:
    cells = "\n".join(f",AB-36,{wb},{db},{t}" for wb, db, t in ((64, 90, 9), (64, 100, ""), (66, 90, 13), (66, 100, 9)))
    charts = parse_charts("\ufeff" + HEADER + cells)
    assert dict(charts.schema) == dict(CHARTS_SCHEMA)
    visits, units = frames(reading(return_wb_f=65.0, outdoor_db_f=90.0), unit(model="AB-36"))
    assert charge_readings(visits, units, charts=charts)["target_superheat_f"].item() == pytest.approx(11.0)
    visits, units = frames(reading(return_wb_f=65.0, outdoor_db_f=95.0), unit(model="AB-36"))
    assert charge_readings(visits, units, charts=charts)["not_testable_codes"].item() == "outside_chart"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("unit_id,return_wb_f\n", r"charts.csv, line 1: the column 'model' is missing"),
        (HEADER + "U1,,64,90,9\n,,64,90,9\n", r"line 3: neither unit_id nor model"),
        (HEADER + "U1,,sixty,90,9\n", r"line 2, return_wb_f: 'sixty' is not a number"),
        (HEADER + "U1,,64,nan,9\n", r"line 2, outdoor_db_f: 'nan' is not a number"),
        (HEADER + "U1,,64\n", r"line 2, outdoor_db_f: '' is not a number"),
    ],
)
def test_a_faulty_chart_is_refused_in_one_sentence(text: str, words: str) -> None:
    with pytest.raises(UsageError, match=words):
        parse_charts(text)
