"""A small invented fleet behind the contract's names, in memory: what the pages are developed and tested against."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Callable, Iterable, Mapping
from typing import Any

import duckdb
import polars as pl

from pipeline.enrich.not_testable import reason_table
from pipeline.store.frames import registered
from pipeline.store.migrate import migrate
from pipeline.store.query import query

AS_OF = dt.date(2026, 3, 14)
SEASON = (dt.date(2026, 5, 1), dt.date(2026, 9, 30))
MAKES = ("Norvane", "Halden", "Brisco", "Aldertree")
TECHNICIANS = ("R. Okafor", "M. Lindqvist", "T. Abara")
SETTINGS = {
    "costs.stop": "120.0",
    "costs.emergency_call": "720.0",
    "flagging.prevention_run_capacitor": "0.8",
    "flagging.prevention_share": "0.3",
}
TOWNS = ("Port Ellery", "Quillham")

HOSTILE = {
    "script": "<script>document.title='owned'</script>",
    "closing": "</script><img src=x onerror=alert(1)>",
    "template": "{{ 7 * 7 }}{% raw %}",
    "bold": "<b>bold</b><a href='http://bad.invalid'>x</a>",
    "rtl": "שלום \u202eevil\u202c مرحبا",
    "emoji": "Frosty ❄️🧊",
    "long": "L" * 10_000,
    "formula": '=HYPERLINK("http://bad.invalid","x")',
    "quote": 'O\'Hara "the" & sons',
}
"""Values that try to break out of a page, a script, a template, a chart or a spreadsheet."""

Query = Callable[[str, Mapping[str, object]], pl.DataFrame]


IMPORTED = frozenset({"visits", "parts", "recommendations", "readings"})


class Fleet:
    """The store's own schema in memory, filled row by row."""

    def __init__(self) -> None:
        self._con = duckdb.connect(":memory:")
        migrate(self._con, "in memory")
        self._waiting: dict[str, list[dict[str, Any]]] = {}
        for key, value in SETTINGS.items():
            self.add("core.settings", key=key, value=value)

    def add(self, table: str, **values: Any) -> None:
        """Insert one row; columns that are not given stay null."""
        if table in IMPORTED | {"units", "sites"}:
            values = {"source_file": f"{table}.csv", "source_line": 2, "import_id": 1} | values
        if table == "parts":
            values = {"row_n": 1} | values
        if table == "imports":
            values = {"table_name": "visits", "sha256": "0" * 64, "mapping_digest": ""} | values
        self._waiting.setdefault(f"imported.{table}" if table in IMPORTED else table, []).append(values)

    @property
    def con(self) -> duckdb.DuckDBPyConnection:
        """The connection, with every added row in its table."""
        for table, rows in self._waiting.items():
            with registered(self._con, "added", pl.DataFrame(rows, infer_schema_length=None)):
                self._con.execute(f"insert into {table} by name select * from added")
        self._waiting.clear()
        return self._con

    def query(self, name: str, values: Mapping[str, object]) -> pl.DataFrame:
        """Answer one page query as the store does."""
        return query(self.con, name, values)


def part(key: str, most: int) -> int:
    """Return a fixed number below ``most`` for a key: a digest instead of a random generator."""
    return int(hashlib.sha256(key.encode()).hexdigest(), 16) % most


def small_fleet(units: int = 40, *, hostile: bool = True) -> Fleet:
    """Return an invented fleet with readings, parts, rejects and, unless told otherwise, hostile values."""
    fleet = Fleet()
    names = list(HOSTILE.values()) if hostile else []
    for n in range(units):
        unit_id = f"U-{n:03d}" if n >= len(names) else f"{names[n][:200]} {n}"
        _add_unit(fleet, n, unit_id, names[n] if n < len(names) else f"Customer {n}")
    _add_accounting(fleet, names)
    _add_fleet_refrigerant(fleet)
    return fleet


def _add_unit(fleet: Fleet, n: int, unit_id: str, customer: str) -> None:
    age = 2 + part(f"age{n}", 18)
    flagged = n % 5 == 0 or n < 9
    p = round(0.05 + part(f"p{n}", 100) / 1000 + (0.25 if flagged else 0.0), 4)
    fleet.add(
        "sites",
        site_id=f"S{n}",
        customer_name=customer,
        phone=f"+1 555 01{n:02d}",
        address=f"{n} Quay Street",
        city=TOWNS[n % 2],
        state="EX",
        postal_code=f"0{n:04d}",
        agreement="yes" if n % 3 else "no",
        access_notes=customer,
        source_file="sites.csv",
        source_line=n + 2,
    )
    fleet.add(
        "units",
        unit_id=unit_id,
        site_id=f"S{n}",
        unit_location="north side",
        equipment="split_ac",
        make=customer if n < 4 else MAKES[n % 4],
        model=f"M{n}",
        serial=f"00{n}",
        nominal_tons=3.0,
        refrigerant="R-410A",
        metering="fixed_orifice" if n % 2 else "txv",
        parts_warranty_years=10,
        installed_on=dt.date(2026 - age, 6, 1),
        cap_herm_uf=40.0,
        cap_fan_uf=5.0,
        source_file="units.csv",
        source_line=n + 2,
    )
    fleet.add(
        "core.unit_forecast",
        unit_id=unit_id,
        as_of=AS_OF,
        season_start=SEASON[0],
        season_end=SEASON[1],
        p_failure=p,
        p_low=p / 2,
        p_high=min(1.0, p * 1.8),
        flagged=flagged,
        worth_a_stop=p > 0.35,
        first_in_line=flagged and p <= 0.35,
        net_saving=p * 0.5 * 720.0 - 120.0,
        leading_reason=REASONS[n % 4].split("; ")[0],
        reasons=REASONS[n % 4],
    )
    fleet.add("core.risk_history", unit_id=unit_id, as_of=dt.date(2026, 2, 1), p_failure=p, flagged=n % 6 == 0)
    for year in range(2021, 2026):
        _add_visit(fleet, n, unit_id, customer, dt.date(year, 4, 1 + n % 28), year - 2021)
    _add_refrigerant(fleet, n, unit_id, customer)
    for section, start in (("herm", -2.0), ("fan", -1.0)):
        now = start - 2.2 * 5
        fleet.add(
            "core.section_forecast",
            unit_id=unit_id,
            section=section,
            season_start=SEASON[0],
            season_end=SEASON[1],
            as_of=AS_OF,
            drift_pct=now,
            drift_sd_pct=1.4,
            drift_pct_per_year=-2.2,
            p_out_by_season_start=0.4,
            p_out_by_season_end=0.6,
            out_of_tolerance_on=dt.date(2026, 7, 1),
            out_earliest=dt.date(2026, 4, 1),
            out_latest=dt.date(2027, 6, 1),
            already_out=n % 7 == 0,
            basis="readings",
            last_reading_on=dt.date(2025, 4, 1 + n % 28),
        )


REASONS = (
    "run_capacitor: hermetic section read 34.6 of 40 uF on 2025-04-10, 13.5 % low; compressor: 14 years old",
    "refrigerant_leak: superheat 11 degF over target on two visits, 18 oz added in 12 months",
    "contactor: pitted contacts noted on 2025-04-02 and not put right",
    "other: 17 years old, not seen for 20 months",
)


def _add_visit(fleet: Fleet, n: int, unit_id: str, customer: str, date: dt.date, step: int) -> None:
    visit_id = f"T{n}-{step}"
    technician = customer if n == 3 else TECHNICIANS[(n + step) % 3]
    kind = "no_cooling" if (n + step) % 7 == 0 else "maintenance"
    drift = -2.0 - 2.2 * step
    fleet.add(
        "visits",
        visit_id=visit_id,
        unit_id=unit_id,
        visit_date=date,
        technician=technician,
        visit_type=kind,
        cause="run_capacitor" if kind == "no_cooling" else None,
        observations="dirty_filter; oil_stain",
        herm_uf=40 * (1 + drift / 100),
        suction_psig=118.0,
        liquid_psig=330.0,
        notes=customer,
        source_file=f"visits_{date.year}.csv",
        source_line=10 + n,
    )
    series = 2 if n % 6 == 0 and step > 2 else 1
    for section, rated in (("herm", 40.0), ("fan", 5.0)):
        value = -1.0 * (step - 2) if series == 2 else drift
        fleet.add(
            "core.capacitor_readings",
            unit_id=unit_id,
            visit_id=visit_id,
            visit_date=date,
            section=section,
            series=series,
            rated_uf=rated,
            rated_source="unit",
            tolerance_pct=6.0,
            measured_uf=round(rated * (1 + value / 100), 2),
            method="under_load" if step == 1 else "bench",
            drift_pct=round(value, 2),
            out_of_tolerance=value < -6,
            suspect="copied_rating" if n % 9 == 1 and step == 2 else None,
            technician=technician,
            started_on=dt.date(2024, 4, 1 + n % 28) if series == 2 else None,
            start_kind="fitted" if series == 2 else "unknown",
            at_replacement=False,
            is_new_part=False,
            scheduled=kind == "maintenance",
        )
    if n % 6 == 0 and step == 3:
        fleet.add(
            "parts",
            visit_id=visit_id,
            unit_id=unit_id,
            part="run_capacitor",
            quantity=1.0,
            cap_herm_uf=40.0,
            cap_fan_uf=5.0,
            cap_volts=440.0,
            part_make=customer,
            claim_status="none",
            source_file="parts.csv",
            source_line=n + 2,
        )
    orifice = bool(n % 2)
    testable = (n + step) % 4 != 0
    superheat = 12.0 + 2.5 * step
    fleet.add(
        "core.charge_readings",
        unit_id=unit_id,
        visit_id=visit_id,
        visit_date=date,
        suction_saturation_f=40.0,
        liquid_saturation_f=104.0,
        superheat_f=superheat,
        subcooling_f=10.0 - step,
        target_superheat_f=11.0 if orifice and testable else None,
        superheat_deviation_f=superheat - 11.0 if orifice and testable else None,
        target_subcooling_f=None if orifice else 10.0,
        subcooling_deviation_f=None if orifice else float(-step),
        temperature_split_f=19.0,
        charge_verdict="not_testable" if not testable else "low" if step > 2 else "within",
        borderline=step == 3,
        not_testable_codes=None if testable else "no_wet_bulb",
        leak_loss_f=float(step),
        metering="fixed_orifice" if orifice else "txv",
        airflow="shown",
        airflow_because="temperature split",
        likely_fault=("undercharge" if step > 2 else "no_fault") if testable else None,
        p_fault=0.7 if step > 2 else 0.05,
        runner_up="liquid_line_restriction" if testable and step > 2 else None,
        p_charge_low=0.85 if step > 2 else 0.1,
        p_charge_high=0.01,
        expected_from="own history",
        next_reading="return_wb_f" if not testable else "static_in_wc and airflow_cfm" if step > 2 else None,
        superheat_off_f=superheat - 11.0,
        superheat_off_sd_f=1.8,
        subcooling_off_f=-float(step),
        subcooling_off_sd_f=1.5,
    )


def _add_refrigerant(fleet: Fleet, n: int, unit_id: str, customer: str) -> None:
    """Add a leak trend, a top-up, findings open and closed; every third unit is suspected of a leak."""
    suspected = n % 3 == 0
    fleet.add(
        "core.charge_trend",
        unit_id=unit_id,
        refrigerant_added_oz_12_months=12.0 if suspected else 0.0,
        leak_rate_pct_per_year=9.0 + n if suspected else 0.4,
        leak_rate_low_pct=4.0 if suspected else 0.0,
        leak_rate_high_pct=19.0 + n if suspected else 3.0,
        p_leaking=0.9 if suspected else 0.05,
        charge_loss_suspected=suspected,
        because="2 top-ups, the last on 2025-04-10; 5 charge readings, the last 4.0 degF towards low charge",
    )
    top_up = dt.date(2025, 4, 1 + n % 28)
    found = {"topped_up_without_repair": ("12 oz topped up", top_up)} if suspected else {}
    found["pitted_contactor"] = (customer, dt.date(2024, 4, 1 + n % 28))
    for finding, (evidence, on) in found.items():
        fleet.add(
            "core.open_findings",
            unit_id=unit_id,
            finding=finding,
            found_on=on,
            visit_id=f"T{n}-4",
            evidence=evidence,
            decision=(None, "declined", "later")[n % 3],
            decided_on=None if n % 3 == 0 else on,
            days_open=(AS_OF - on).days,
        )
    fleet.add(
        "core.open_findings",
        unit_id=unit_id,
        finding="weak_fan_section",
        found_on=dt.date(2023, 4, 1),
        visit_id=f"T{n}-2",
        evidence="fan section 4.4 of 5.0 uF, -12.0 %",
        days_open=400,
        resolved_on=dt.date(2024, 5, 5),
        resolved_by="run capacitor fitted",
        verified=n % 2 == 0,
    )
    if suspected:
        fleet.add(
            "core.refrigerant_ledger",
            unit_id=unit_id,
            visit_id=f"T{n}-4",
            visit_date=top_up,
            refrigerant="R-22" if n % 2 else "R-410A",
            added_oz=12.0,
            recovered_oz=0.0,
            net_oz=12.0,
            kind="top_up",
            factory_charge_oz=100.0,
            leak_rate_annualized_pct=12.0,
            leak_rate_rolling_pct=12.0,
            federal_threshold="no federal leak-rate threshold applies to this unit",
        )


def _add_fleet_refrigerant(fleet: Fleet) -> None:
    for metering in ("fixed_orifice", "expansion_valve"):
        for reading, says in (("superheat_off_f", "rises"), ("subcooling_off_f", "falls")):
            row = {"metering": metering, "fault": "undercharge", "reading": reading, "table_says": says}
            fleet.add("core.fault_signs", **row)
    for row in reason_table().iter_rows(named=True):
        fleet.add("core.not_testable_reasons", **row)
    for refrigerant, gwp, depleting in (("R-22", 1810.0, True), ("R-410A", 2088.0, False)):
        fleet.add(
            "core.refrigerant_use",
            month=dt.date(2025, 4, 1),
            refrigerant=refrigerant,
            visits=7,
            added_oz=84.0,
            recovered_oz=4.0,
            net_oz=80.0,
            gwp=gwp,
            ozone_depleting=depleting,
        )


def _add_accounting(fleet: Fleet, names: Iterable[str]) -> None:
    for n, year in enumerate(range(2021, 2026), start=1):
        fleet.add(
            "imports",
            import_id=n,
            file=f"visits_{year}.csv",
            table_name="visits",
            sha256=f"{n:064d}",
            encoding="utf-8",
            delimiter=",",
            rows_read=44,
            rows_stored=40,
            rows_unchanged=1,
            rows_rejected=2,
            rows_skipped=1,
            values_rejected=3,
            imported_at=dt.datetime(2026, 3, 14, 8, n),
        )
        fleet.add(
            "core.expectation_results",
            import_id=n,
            first_import_id=n,
            table_name="visits",
            expectation="values between",
            column="suction_psig",
            success=n != 2,
            unexpected_count=0 if n != 2 else 4,
            element_count=40,
        )
        fleet.add(
            "rejects",
            import_id=n,
            source_file=f"visits_{year}.csv",
            source_line=7,
            scope="row",
            field="visit_date",
            header="Date",
            value="31/31/2021",
            rule="not_a_date",
            message=f'visits_{year}.csv line 7, column "Date": not a date',
            advice="write it as 2021-12-31",
            resolved_at=dt.datetime(2026, 3, 14, 9) if n == 1 else None,
        )
    fleet.add(
        "corrections", table_name="visits", key="T1", field="herm_uf", old_value="34", new_value="34.6", import_id=4
    )
    for text in names:
        fleet.add(
            "rejects",
            import_id=5,
            source_file=text[:300],
            source_line=9,
            scope="value",
            field="suction_psig",
            header=text[:300],
            value=text[:300],
            rule="not_a_number",
            message=text[:300],
        )
        fleet.add(
            "corrections", table_name="visits", key="T1", field="technician", old_value=text, new_value="b", import_id=4
        )
    fleet.add("core.suspects", unit_id="U-010", visit_id="T10-2", field="liquid_psig", reason="liquid_not_over_suction")
    for technician in (*TECHNICIANS, *names[:1]):
        for kind, count, of in (("capacitors", 54, 60), ("gauges", 0, 0), ("suspect", 2, 70)):
            fleet.add(
                "core.technician_quality",
                technician=technician,
                visits=90,
                kind=kind,
                count=count,
                of=of,
                share=count / of if of else None,
                share_low=0.8 * count / of if of else None,
                share_high=min(1.0, 1.1 * count / of) if of else None,
                digit_p_value=1e-6 if technician == TECHNICIANS[0] else 0.4,
                favourite_digit=5,
            )


def poor_fleet() -> Fleet:
    """Return a shop whose export has dates, customers and notes, and no reading at all."""
    fleet = Fleet()
    for n in range(30):
        unit_id, site = f"addr-{n:02d}", f"S{n}"
        fleet.add("sites", site_id=site, customer_name=f"Customer {n}", address=f"{n} Quay Street")
        fleet.add("units", unit_id=unit_id, site_id=site)
        p = 0.06 + n / 2000
        fleet.add(
            "core.unit_forecast",
            unit_id=unit_id,
            as_of=AS_OF,
            season_start=SEASON[0],
            season_end=SEASON[1],
            p_failure=p,
            p_low=0.02,
            p_high=0.15,
            flagged=n == 29,
            leading_reason="other: no reading on file",
            reasons="other: no reading on file",
        )
        for year in range(2022, 2026 if n % 3 else 2024):
            fleet.add(
                "visits",
                visit_id=f"J{n}-{year}",
                unit_id=unit_id,
                visit_date=dt.date(year, 6, 1 + n % 28),
                notes="unit not cooling, replaced cap",
                source_file="jobs.csv",
                source_line=n + 2,
            )
    fleet.add(
        "imports",
        import_id=1,
        file="jobs.csv",
        rows_read=100,
        rows_stored=100,
        rows_unchanged=0,
        rows_rejected=0,
        rows_skipped=0,
        values_rejected=0,
        imported_at=dt.datetime(2026, 3, 14, 8),
    )
    return fleet


def fleet_of_one(*, flagged: bool) -> Fleet:
    """Return a fleet of a single unit with one visit and no reading."""
    fleet = Fleet()
    fleet.add("units", unit_id="only")
    fleet.add("visits", visit_id="J1", unit_id="only", visit_date=AS_OF, source_file="jobs.csv", source_line=2)
    fleet.add(
        "core.unit_forecast",
        unit_id="only",
        as_of=AS_OF,
        season_start=SEASON[0],
        season_end=SEASON[1],
        p_failure=0.05,
        p_low=0.01,
        p_high=0.2,
        flagged=flagged,
    )
    return fleet
