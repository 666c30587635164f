"""How each year's export was typed: headers, units, dates, delimiter, encoding, and what stands around the table."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, field

Value = str | float | dt.date | None
CELSIUS: Callable[[float], float] = lambda f: (f - 32.0) / 1.8  # noqa: E731
KPA: Callable[[float], float] = lambda psi: psi * 6.894757  # noqa: E731
GRAMS: Callable[[float], float] = lambda oz: oz * 28.349523  # noqa: E731


@dataclass(frozen=True)
class Style:
    """One file's dialect; ``headers`` maps canonical fields to the file's headers, in file order."""

    headers: dict[str, str]
    date: str = "%Y-%m-%d"
    delimiter: str = ","
    decimal: str = "."
    encoding: str = "utf-8"
    newline: str = "\n"
    above: tuple[str, ...] = ()
    units_line: dict[str, str] = field(default_factory=dict)
    totals: bool = False
    convert: dict[str, tuple[Callable[[float], float], int]] = field(default_factory=dict)
    words: Callable[[str], str] = str

    def text(self, name: str, value: Value) -> str:
        """Return the cell for a canonical value; a blank for None."""
        if value is None:
            return ""
        if isinstance(value, dt.date):
            return _unpadded(value, self.date)
        if isinstance(value, str):
            return self.words(value) if name in WORDS else value
        if name in self.convert:
            change, places = self.convert[name]
            value = round(change(value), places)
        return f"{value:.10g}".replace(".", self.decimal)


WORDS = frozenset({"visit_type", "cause", "mode", "leak_found", "part", "decision", "claim_status"})


def _unpadded(date: dt.date, pattern: str) -> str:
    if pattern == "%-m/%-d/%Y":  # strftime's dash is not portable
        return f"{date.month}/{date.day}/{date.year}"
    if pattern == "%-m/%-d/%Y 10:30 AM":
        return f"{date.month}/{date.day}/{date.year} {8 + date.day % 4}:{15 * (date.day % 4):02d} AM"
    return date.strftime(pattern)


def _spoken(word: str) -> str:
    return word.replace("_", " ").capitalize()


TRADE = {"maintenance": "Spring PM", "no_cooling": "No Cool", "install": "New Install", "callback": "Call Back"}


def _trade(word: str) -> str:
    return TRADE.get(word, _spoken(word))


VISIT_FIELDS = (
    "visit_id",
    "unit_id",
    "visit_date",
    "technician",
    "visit_type",
    "cause",
    "observations",
    "mode",
    "minutes_running",
    "outdoor_db_f",
    "return_db_f",
    "return_wb_f",
    "return_rh_pct",
    "supply_db_f",
    "suction_psig",
    "liquid_psig",
    "suction_line_f",
    "liquid_line_f",
    "discharge_line_f",
    "condenser_leaving_f",
    "herm_uf",
    "fan_uf",
    "blower_uf",
    "herm_uf_after",
    "fan_uf_after",
    "blower_uf_after",
    "herm_volts",
    "herm_amps",
    "fan_volts",
    "fan_amps",
    "compressor_amps",
    "condenser_fan_amps",
    "blower_amps",
    "line_volts",
    "static_in_wc",
    "refrigerant_added_oz",
    "refrigerant_recovered_oz",
    "leak_found",
    "invoice_total",
    "notes",
)
LONG_MEASURES = (
    "suction_psig",
    "liquid_psig",
    "suction_line_f",
    "liquid_line_f",
    "discharge_line_f",
    "condenser_leaving_f",
    "supply_db_f",
)
MEASURE_UNITS = {name: "psig" if name.endswith("psig") else "degF" for name in LONG_MEASURES}

WORDY = dict(
    zip(
        VISIT_FIELDS,
        (
            "Ticket #",
            "Unit ID",
            "Date",
            "Technician",
            "Job Type",
            "Cause",
            "Observations",
            "Mode",
            "Minutes Running",
            "Outdoor Temp (°F)",
            "Return DB (°F)",
            "Return WB (°F)",
            "Return RH (%)",
            "Supply DB (°F)",
            "Suction Pressure (psig)",
            "Liquid Pressure (psig)",
            "Suction Line Temp (°F)",
            "Liquid Line Temp (°F)",
            "Discharge Line Temp (°F)",
            "Condenser Leaving Temp (°F)",
            "Herm (µF)",
            "Fan (µF)",
            "Blower Cap (µF)",
            "New Herm (µF)",
            "New Fan (µF)",
            "New Blower (µF)",
            "Herm Volts",
            "Herm Amps",
            "Fan Volts",
            "Fan Amps",
            "Compressor Amps",
            "Condenser Fan Amps",
            "Blower Amps",
            "Line Voltage (V)",
            "Static (in. wc)",
            "Refrigerant Added (oz)",
            "Refrigerant Recovered (oz)",
            "Leak Found",
            "Invoice Total",
            "Notes",
        ),
        strict=True,
    )
)

BRACKETED = {
    f: f.removesuffix("_f").removesuffix("_pct").removesuffix("_psig").replace("_", " ").title() for f in VISIT_FIELDS
} | {
    "visit_id": "Visit ID",
    "unit_id": "Unit ID",
    "outdoor_db_f": "Outdoor DB [degF]",
    "return_db_f": "Return DB [degF]",
    "return_wb_f": "Return WB [degF]",
    "return_rh_pct": "Return RH [%]",
    "supply_db_f": "Supply DB [degF]",
    "suction_psig": "Suction [psig]",
    "liquid_psig": "Liquid [psig]",
    "suction_line_f": "Suction Line [degF]",
    "liquid_line_f": "Liquid Line [degF]",
    "discharge_line_f": "Discharge Line [degF]",
    "condenser_leaving_f": "Condenser Leaving [degF]",
    "herm_uf": "Herm [MFD]",
    "fan_uf": "Fan [MFD]",
    "blower_uf": "Blower [MFD]",
    "herm_uf_after": "Herm After [MFD]",
    "fan_uf_after": "Fan After [MFD]",
    "blower_uf_after": "Blower After [MFD]",
    "static_in_wc": "Static [in WC]",
    "refrigerant_added_oz": "Refrigerant Added [oz]",
    "refrigerant_recovered_oz": "Refrigerant Recovered [oz]",
}

_METRIC_F = (
    "outdoor_db_f",
    "return_db_f",
    "return_wb_f",
    "supply_db_f",
    "suction_line_f",
    "liquid_line_f",
    "discharge_line_f",
    "condenser_leaving_f",
)
METRIC = (
    BRACKETED
    | {f: BRACKETED[f].replace("degF", "°C") for f in _METRIC_F}
    | {
        "suction_psig": "Suction [kPa]",
        "liquid_psig": "Liquid [kPa]",
        "refrigerant_added_oz": "Refrigerant Added [g]",
        "refrigerant_recovered_oz": "Refrigerant Recovered [g]",
    }
)
METRIC_CONVERT = dict.fromkeys(_METRIC_F, (CELSIUS, 1)) | {
    "suction_psig": (KPA, 0),
    "liquid_psig": (KPA, 0),
    "refrigerant_added_oz": (GRAMS, 0),
    "refrigerant_recovered_oz": (GRAMS, 0),
}

_BARE = {f: h.split(" (")[0].upper() for f, h in WORDY.items() if f not in LONG_MEASURES} | {
    "herm_uf": "HERM CAP",
    "fan_uf": "FAN CAP",
    "herm_uf_after": "NEW HERM CAP",
    "fan_uf_after": "NEW FAN CAP",
    "blower_uf_after": "NEW BLOWER CAP",
}
_UNITS = {f: h.split(" (")[1].rstrip(")") for f, h in WORDY.items() if " (" in h and f not in LONG_MEASURES}

VISIT_STYLES: dict[int, Style] = {
    2020: Style({f: f for f in VISIT_FIELDS}),
    2021: Style(WORDY, date="%-m/%-d/%Y", encoding="cp1252", newline="\r\n", words=_spoken),
    2022: Style(BRACKETED, date="%m/%d/%Y", above=("Harrowmere Cooling - visit report 2022", "")),
    2023: Style(
        METRIC,
        date="%d.%m.%Y",
        delimiter=";",
        decimal=",",
        encoding="utf-8-sig",
        newline="\r\n",
        convert=METRIC_CONVERT,
    ),
    2024: Style(_BARE, date="%-m/%-d/%Y 10:30 AM", encoding="utf-8-sig", units_line=_UNITS, totals=True, words=_trade),
    2025: Style(WORDY, date="%-m/%-d/%Y", words=_spoken),
    2026: Style(WORDY, date="%-m/%-d/%Y", words=_spoken),
}
LONG_YEAR = 2024


def plain(fields: tuple[str, ...]) -> Style:
    """Return the plain style of the smaller tables: canonical names, ISO dates."""
    return Style({f: f for f in fields})
