"""The same shop exported as invoice lines, as two-unit tickets and with zeros for blanks, as the tidy one says."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipeline.fields import registry
from pipeline.ingest.mapping_file import dump_entry
from sample_exports.generator import simulate, variants
from tests.end_to_end.bringing import Brought, bring
from tests.end_to_end.conftest import ask, run_quietly

ROW = ["visit_id", "unit_id"]
SECTION = [*ROW, "section", "is_new_part"]
READING = [*SECTION, "series", "measured_uf", "rated_uf", "rated_source", "method", "drift_pct", "at_replacement"]
SERIES = [
    "unit_id",
    "section",
    "series",
    "rated_uf",
    "rated_source",
    "started_on",
    "start_kind",
    "ended_on",
    "end_kind",
]
PART = [*ROW, "part", "row_n", "quantity", "cap_herm_uf", "cap_fan_uf", "cap_blower_uf"]
OTHER_HEADERS = {
    "visit_id": "Invoice No",
    "visit_date": "Service Date",
    "technician": "Mechanic",
    "visit_type": "Call Type",
    "invoice_total": "Invoice Amount",
    "herm_uf": "Herm MFD",
    "fan_uf": "Fan MFD",
    "Item": "Line Description",
    "Qty": "Quantity",
    "Price": "Unit Price",
}
OTHER_TEXTS = [
    ("Run capacitor (.*)/(.*) MFD 440V$", "Replaced dual-run cap, $1+$2 mfd 440vac"),
    ("Run capacitor (.*) MFD 440V herm", "CAP RUN $1 MFD 440 compressor"),
    ("Run capacitor (.*) MFD 440V fan", "Capacitor for cond fan motor ${1}uF"),
    ("Run capacitor (.*) MFD 440V blower", "Blower run capacitor $1 mfd"),
    ("Run capacitor$", "New capacitor (universal)"),
    ("Contactor 2P.*", "Contactor replacement - 30 amp"),
    ("Condenser fan motor.*", "Cond. fan motor w/ blade, 1/4 hp"),
    ("Control board", "Circuit board, defrost"),
    ("Transformer 40VA", "Low voltage transformer"),
    ("Blower motor", "Motor, blower, ECM"),
    ("(.*) refrigerant, lb", "$1 (per pound)"),
    ("Labor", "Labor and trip charge"),
]
Take = Callable[..., Brought]


@pytest.fixture(scope="module")
def tables() -> dict[str, pl.DataFrame]:
    return simulate(60, 3, 11)


@pytest.fixture(scope="module")
def take(tmp_path_factory: pytest.TempPathFactory) -> Take:
    return lambda *batches, **told: bring(tmp_path_factory.mktemp("poor"), *batches, **told)


@pytest.fixture(scope="module")
def tidy(tables: dict[str, pl.DataFrame], take: Take) -> Brought:
    found = take(variants.tidy(tables))
    assert found.tables["rejects"].is_empty()
    return found


def same(found: Brought, tidy: Brought, table: str, columns: list[str], key: list[str]) -> None:
    one, two = (brought.tables[table].select(columns).sort(key) for brought in (found, tidy))
    assert_frame_equal(one, two, check_dtypes=False, abs_tol=0.02)


def fields(*without: str) -> list[str]:
    return [name for name in registry()["visits"].fields if name not in without]


def test_invoice_lines_give_the_tidy_visits_parts_and_series(
    tables: dict[str, pl.DataFrame], take: Take, tidy: Brought
) -> None:
    found = take(variants.line_items(tables))
    assert found.tables["rejects"].is_empty()
    assert not found.progress.refused
    same(found, tidy, "visits", fields(), ROW)
    same(found, tidy, "parts", [*PART, "price"], PART[:4])
    same(found, tidy, "capacitor_readings", READING, SECTION)
    same(found, tidy, "core.capacitor_series", SERIES, SERIES[:3])
    account = dict(found.progress.accounts)["line_items.csv"]
    assert account.rows_stored == account.rows_read == tidy.tables["visits"].height + tidy.tables["parts"].height


def test_other_header_words_and_item_texts_give_the_same(
    tables: dict[str, pl.DataFrame], take: Take, tidy: Brought
) -> None:
    files = variants.line_items(tables)
    lines = pl.read_csv(files["line_items.csv"], infer_schema=False).rename(OTHER_HEADERS)
    text = pl.col("Line Description")
    for pattern, other in OTHER_TEXTS:
        text = text.str.replace(pattern, other)
    lines = lines.with_columns(text).drop("cause")
    # a ticket's own cells only on its first line, as invoices print them
    first = pl.int_range(pl.len()).over("Invoice No", "unit_id") == 0
    own = [name for name in lines.columns if name not in ("Line Description", "Quantity", "Unit Price")]
    lines = lines.with_columns(pl.when(first).then(pl.col(own)))
    found = take(files | {"line_items.csv": lines.write_csv().encode()})
    assert found.tables["rejects"].is_empty(), found.tables["rejects"]
    same(found, tidy, "visits", fields("cause", "refrigerant_added_oz"), ROW)
    same(found, tidy, "parts", PART, PART[:4])
    same(found, tidy, "core.capacitor_series", SERIES[:6], SERIES[:3])
    # a cause that is told was told by the part fitted; the tidy export may know more (dirty coils, airflow)
    both = found.tables["visits"].join(tidy.tables["visits"], on=ROW).drop_nulls(["cause", "cause_right"])
    assert both.height
    assert (both["cause"] == both["cause_right"]).mean() > 0.95


def test_two_unit_tickets_give_the_tidy_visits_and_series(
    tables: dict[str, pl.DataFrame], take: Take, tidy: Brought
) -> None:
    found = take(variants.two_units(tables))
    assert found.tables["rejects"].is_empty()
    assert not found.progress.refused
    # the ticket has one technician and one total for both of its units
    same(found, tidy, "visits", fields("technician", "invoice_total"), ROW)
    totals = [b.tables["visits"].group_by("visit_id").agg(pl.col("invoice_total").sum()) for b in (found, tidy)]
    assert_frame_equal(*totals, check_row_order=False, abs_tol=0.02)
    same(found, tidy, "capacitor_readings", READING, SECTION)
    same(found, tidy, "core.capacitor_series", SERIES, SERIES[:3])


@pytest.mark.thorough
def test_zeros_for_blanks_open_no_section_that_nothing_supports(
    tables: dict[str, pl.DataFrame], take: Take, tidy: Brought
) -> None:
    files = variants.zero_filled(tables)
    visits = {"visits.csv": files["visits.csv"]}
    rest = {name: content for name, content in files.items() if name != "visits.csv"}
    at_once = take(files)
    assert at_once.tables["rejects"].is_empty()
    sections = ["herm_uf", "fan_uf", "blower_uf"]
    same(at_once, tidy, "visits", fields(*sections), ROW)
    fitted = at_once.tables["parts"].filter(part="run_capacitor").select(ROW).unique().with_columns(fitted=True)
    compared = (
        at_once.tables["visits"]
        .join(tidy.tables["visits"], on=ROW, suffix="_tidy")
        .join(fitted, on=ROW, how="left")
        .with_columns(
            says=(pl.col("cause") == "run_capacitor").fill_null(False)
            | pl.col("observations").str.contains("swollen_capacitor").fill_null(False)
            | pl.col("fitted").fill_null(False)
        )
    )
    for name in sections:
        differing = compared.filter(pl.col(name).ne_missing(pl.col(f"{name}_tidy")))
        assert differing.filter(~pl.col("says")).is_empty()
        # what is left cannot be told from an open section: a 0 on a row that the contract says is open
        assert differing.height <= 0.01 * compared.height
        assert (differing[name] == 0).all()
    same(at_once, tidy, "core.capacitor_series", SERIES, SERIES[:3])
    for batches in ((visits, rest), (rest, visits)):
        later = take(*batches)
        same(later, at_once, "visits", fields(), ROW)
        same(later, at_once, "capacitor_readings", READING, SECTION)


TWO_LINES = """Ticket,Date,Customer,Address,Job,Item,Qty,Price
1,2025-06-03,A. Nemo,12 Elm St,No cool,Service call,1,89
1,2025-06-03,A. Nemo,12 Elm St,No cool,Contactor 30A,1,150
2,2025-06-14,B. Nix,14 Elm St,Tune-up,Tune-up,1,129
2,{date},B. Nix,14 Elm St,Tune-up,cold juice 410A 2#,1,{price}
"""


def test_a_line_counts_with_its_visit_or_its_part(take: Take) -> None:
    one = {"lines.csv": TWO_LINES.format(date="2025-06-14", price="60")}
    two = {"lines.csv": TWO_LINES.format(date="2025-06-14", price="75")}
    found = take(one, two)
    account = dict(found.progress.accounts)["lines.csv"]
    # the total of the second ticket is another, so that both of its lines are stored anew; the first is unchanged
    assert (account.rows_read, account.rows_stored, account.rows_unchanged) == (4, 2, 2)
    assert found.tables["visits"].sort("visit_id")["invoice_total"].to_list() == [239.0, 204.0]
    assert found.tables["visits"].sort("visit_id")["cause"].to_list() == ["contactor", None]


def test_lines_that_contradict_each_other_are_refused_with_their_parts(take: Take) -> None:
    found = take({"lines.csv": TWO_LINES.format(date="2025-07-01", price="60")})
    account = dict(found.progress.accounts)["lines.csv"]
    assert (account.rows_stored, account.rows_rejected) == (2, 2)
    assert found.tables["rejects"]["source_line"].sort().to_list() == [4, 5]
    assert found.tables["visits"]["visit_id"].to_list() == ["1"]
    assert found.tables["parts"]["part"].to_list() == ["contactor"]


def test_the_mapping_file_teaches_words_and_reads_the_file_the_same_again(take: Take) -> None:
    files = {"lines.csv": TWO_LINES.format(date="2025-06-14", price="60")}
    first = take(files)
    entry = first.progress.staged[0][0].entry
    assert {"item", "quantity", "price", "visit_id"} <= set(entry.columns)
    again = take(files, mapping=dump_entry(entry))
    assert again.progress.staged[0][0].digest == first.progress.staged[0][0].digest
    assert_frame_equal(first.tables["visits"], again.tables["visits"])
    taught = take(
        files,
        mapping='[files."lines.csv"]\ntable = "visits"\n'
        '[files."lines.csv".values.item]\n"cold juice" = "refrigerant"\n',
    )
    assert taught.tables["visits"].sort("visit_id")["refrigerant_added_oz"].to_list() == [None, 32.0]
    assert set(taught.tables["parts"]["part"]) == {"contactor", "refrigerant"}


def test_a_month_of_single_line_tickets_is_read_as_the_rest_of_the_year(take: Take, tmp_path: Path) -> None:
    head, *rows = TWO_LINES.format(date="2025-06-14", price="60").splitlines()
    whole = take({"lines.csv": "\n".join([head, *rows, ""])})
    parted = take({"june.csv": "\n".join([head, *rows[:2], ""])}, {"july.csv": "\n".join([head, rows[2], ""])})
    wanted = ["visit_id", "visit_type", "visit_date", "unit_id"]
    assert_frame_equal(
        whole.tables["visits"].select(wanted), parted.tables["visits"].select(wanted), check_row_order=False
    )


def test_invoice_lines_tell_the_kind_of_visit_beside_codes_of_the_shops_own(tmp_path: Path) -> None:
    (tmp_path / "lines.csv").write_text(
        "Invoice #,Invoice Date,Service Address,Item,Description,Qty,Line Total\n"
        "5001,05/14/2024,12 Oak St,TU-1,Spring AC tune-up,1,129.00\n"
        "5001,05/14/2024,12 Oak St,CAP455,Dual run capacitor 45/5 440V,1,189.00\n"
        "5002,05/15/2024,9 Elm St,DX,Diagnostic - no cooling,1,89.00\n"
        "5002,05/15/2024,9 Elm St,CONT2P,Contactor 2 pole 30A,1,145.00\n",
        "utf-8",
    )
    run_quietly([tmp_path / "lines.csv"], tmp_path / "shop")
    visits = ask(tmp_path / "shop", "visits")["visits"].sort("visit_id")
    assert visits.select("visit_id", "visit_type", "cause").rows() == [
        ("5001", "maintenance", None),
        ("5002", "no_cooling", "contactor"),
    ]


def test_the_sum_of_a_line_is_told_from_that_of_a_ticket_though_one_ticket_alone_has_several_lines(
    tmp_path: Path,
) -> None:
    (tmp_path / "lines.csv").write_text(
        "Rechnungsnr.;Rechnungsdatum;Anschrift;Artikel;Menge;Einzelpreis;Gesamt\n"
        "R1;14.05.2024;Eichenweg 12;Wartung Klimaanlage;1;129,00;129,00\n"
        "R1;14.05.2024;Eichenweg 12;Betriebskondensator 45/5 µF 440V;1;89,00;89,00\n"
        "R2;15.05.2024;Ulmenweg 9;Schütz 2-polig;2;45,00;90,00\n",
        "utf-8",
    )
    run_quietly([tmp_path / "lines.csv"], tmp_path / "shop")
    got = ask(tmp_path / "shop", "visits", "parts")
    assert got["visits"].sort("visit_id").select("visit_id", "invoice_total").rows() == [("R1", 218.0), ("R2", 90.0)]
    assert got["parts"].sort("visit_id").select("part", "price").rows() == [
        ("run_capacitor", 89.0),
        ("contactor", 90.0),
    ]
