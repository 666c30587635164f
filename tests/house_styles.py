"""One small fleet of visits written in many house styles, with its truth and with faults put in on purpose."""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from itertools import product

Value = str | float | dt.date | None

FIELDS = (
    "visit_id",
    "unit_id",
    "visit_date",
    "technician",
    "visit_type",
    "cause",
    "outdoor_db_f",
    "return_db_f",
    "return_wb_f",
    "suction_psig",
    "liquid_psig",
    "suction_line_f",
    "liquid_line_f",
    "recorded_superheat_f",
    "herm_uf",
    "fan_uf",
    "compressor_amps",
    "line_volts",
    "refrigerant_added_oz",
    "leak_found",
    "invoice_total",
    "notes",
)

ENGLISH = (
    "Ticket #",
    "Unit #",
    "Service Date",
    "Tech",
    "Job Type",
    "Cause",
    "OD Temp",
    "Return DB",
    "Return WB",
    "Suction Pressure",
    "Liquid Pressure",
    "Suction Line Temp",
    "Liquid Line Temp",
    "Superheat",
    "Herm MFD",
    "Fan MFD",
    "Comp Amps",
    "Line Voltage",
    "Refrigerant Added",
    "Leak Found",
    "Invoice Total",
    "Notes",
)
GERMAN = (
    "Auftragsnummer",
    "Anlagen-Nr.",
    "Besuchsdatum",
    "Techniker",
    "Einsatzart",
    "Ursache",
    "Außentemperatur",
    "Rückluft trocken",
    "Rückluft feucht",
    "Saugdruck",
    "Hochdruck",
    "Saugleitungstemperatur",
    "Flüssigkeitsleitungstemperatur",
    "Überhitzung",
    "Kondensator Verdichter",
    "Kondensator Lüfter",
    "Verdichterstrom",
    "Netzspannung",
    "Kältemittel nachgefüllt",
    "Leck gefunden",
    "Rechnungsbetrag",
    "Bemerkungen",
)
SPANISH = (
    "N° de orden",
    "N° de equipo",
    "Fecha de visita",
    "Técnico",
    "Tipo de servicio",
    "Causa",
    "Temperatura exterior",
    "Temperatura de retorno",
    "Bulbo húmedo de retorno",
    "Presión de succión",
    "Presión de líquido",
    "Temperatura línea de succión",
    "Temperatura línea de líquido",
    "Sobrecalentamiento",
    "Capacitor compresor",
    "Capacitor ventilador",
    "Amperaje compresor",
    "Voltaje de línea",
    "Refrigerante agregado",
    "Fuga",
    "Importe total",
    "Notas",
)
HEADERS: Mapping[str, tuple[str, ...]] = {
    "own": FIELDS,
    "english": ENGLISH,
    "german": GERMAN,
    "spanish": SPANISH,
    "caps": tuple(text.upper() for text in ENGLISH),
    "camel": tuple("".join(w.capitalize() for w in name.split("_")) for name in FIELDS),
}
WORDS: Mapping[str, Mapping[str, str]] = {
    "german": {
        "maintenance": "Wartung",
        "repair": "Reparatur",
        "no_cooling": "keine Kühlung",
        "run_capacitor": "Kondensator",
        "contactor": "Schütz",
        "yes": "ja",
        "no": "nein",
        "suspected": "Verdacht",
    },
    "spanish": {
        "maintenance": "mantenimiento",
        "repair": "reparación",
        "no_cooling": "no enfría",
        "run_capacitor": "capacitor",
        "contactor": "contactor",
        "yes": "sí",
        "no": "no",
        "suspected": "sospecha",
    },
    "english": {"maintenance": "Tune-up", "no_cooling": "No cool", "run_capacitor": "Dual cap", "yes": "Y", "no": "N"},
}
DATES: Mapping[str, Callable[[dt.date], str]] = {
    "iso": lambda d: d.isoformat(),
    "iso with time": lambda d: f"{d.isoformat()}T23:30:00-05:00",
    "us": lambda d: f"{d.month}/{d.day}/{d.year}",
    "us short": lambda d: d.strftime("%m/%d/%y"),
    "us with time": lambda d: f"{d.month}/{d.day}/{d.year} 8:05 AM",
    "european": lambda d: d.strftime("%d.%m.%Y"),
    "european slashes": lambda d: d.strftime("%d/%m/%Y"),
    "month name": lambda d: d.strftime("%d-%b-%Y"),
    "long": lambda d: d.strftime("%A, %B %d, %Y"),
    "day number": lambda d: str((d - dt.date(1899, 12, 30)).days),
}
METRIC: Mapping[str, tuple[str, Callable[[float], float], int]] = {
    "degF": ("°C", lambda v: (v - 32) / 1.8, 2),
    "difference": ("K", lambda v: v / 1.8, 2),
    "psig": ("kPa", lambda v: v * 6.894757293168361, 1),
    "oz": ("g", lambda v: v * 28.349523125, 0),
}
KINDS = {
    "outdoor_db_f": "degF",
    "return_db_f": "degF",
    "return_wb_f": "degF",
    "suction_line_f": "degF",
    "liquid_line_f": "degF",
    "recorded_superheat_f": "difference",
    "suction_psig": "psig",
    "liquid_psig": "psig",
    "refrigerant_added_oz": "oz",
}
NUMBERS = (*KINDS, "herm_uf", "fan_uf", "compressor_amps", "line_volts", "invoice_total")


@dataclass(frozen=True)
class Style:
    """How one shop writes its file."""

    headers: str
    dates: str
    decimal: str
    metric: bool
    delimiter: str

    @property
    def name(self) -> str:
        """Say the style in words."""
        unit = "metric" if self.metric else "trade units"
        return f"{self.headers}, {self.dates}, decimal {self.decimal}, {unit}, delimiter {self.delimiter!r}"


@dataclass
class Specimen:
    """One written file: its bytes as text, the truth by row and field, and the faults put in (line, field, value)."""

    style: Style
    text: str
    truth: list[dict[str, Value]]
    faults: list[tuple[int, str, str, str]] = field(default_factory=list)


def styles() -> list[Style]:
    """Return the styles of the zoo: every header style with every way to write dates, the rest taken in turn."""
    signs = [
        (".", False, ","),
        (",", True, ";"),
        (".", True, "\t"),
        (".", False, ";"),
        (",", False, ";"),
        (",", True, "|"),
    ]
    made = []
    for number, (headers, dates) in enumerate(product(HEADERS, DATES)):
        decimal, metric, delimiter = signs[number % len(signs)]
        made.append(Style(headers, dates, decimal, metric and headers not in ("own", "camel"), delimiter))
    return made


def write(style: Style, *, rows: int = 40, faulty: bool = True) -> Specimen:
    """Return the fleet's visits in a style, with a fault in every fifth row."""
    chance = random.Random(style.name)
    truth = [_visit(number, chance) for number in range(rows)]
    header = [_header(style, name) for name in FIELDS]
    lines = [header]
    faults = []
    for number, visit in enumerate(truth):
        cells = [_cell(style, name, visit[name]) for name in FIELDS]
        if faulty and number % 5 == 4:
            name, text, rule = _fault(style, chance)
            cells[FIELDS.index(name)] = text
            faults.append((number + 2, name, text, rule))
        lines.append(cells)
    text = "\n".join(style.delimiter.join(_quoted(cell, style.delimiter) for cell in line) for line in lines) + "\n"
    return Specimen(style, text, truth, faults)


def _visit(number: int, chance: random.Random) -> dict[str, Value]:
    blank = chance.random() < 0.2
    day = dt.date(2023, 4, 1) + dt.timedelta(days=number * 4)
    dry = chance.uniform(70, 80)
    visit: dict[str, Value] = {
        "visit_id": f"T-{number:04d}",
        "unit_id": f"U{number % 17:03d}",
        "visit_date": day,
        "technician": chance.choice(["Brisa", "Corvin"]),
        "visit_type": chance.choice(["maintenance", "repair", "no_cooling"]),
        "cause": chance.choice(["run_capacitor", "contactor", None]),
        "outdoor_db_f": round(chance.uniform(70, 105), 1),
        "return_db_f": round(dry, 1),
        "return_wb_f": round(dry - chance.uniform(8, 15), 1),
        "suction_psig": round(chance.uniform(60, 145), 1),
        "liquid_psig": round(chance.uniform(220, 420), 1),
        "suction_line_f": round(chance.uniform(40, 65), 1),
        "liquid_line_f": round(chance.uniform(80, 110), 1),
        "recorded_superheat_f": round(chance.uniform(2, 25), 1),
        "herm_uf": round(chance.uniform(25, 50), 1),
        "fan_uf": round(chance.uniform(3, 8), 2),
        "compressor_amps": round(chance.uniform(6, 20), 1),
        "line_volts": float(chance.randint(225, 245)),
        "refrigerant_added_oz": None if blank else float(chance.randint(2, 40)),
        "leak_found": chance.choice(["yes", "no", "suspected", None]),
        "invoice_total": round(chance.uniform(89, 4200), 2),
        "notes": None if blank else "checked; all fine, see ticket",
    }
    return visit


def _header(style: Style, name: str) -> str:
    text = HEADERS[style.headers][FIELDS.index(name)]
    if style.metric and name in KINDS:
        return f"{text} ({METRIC[KINDS[name]][0]})"
    return text


def _cell(style: Style, name: str, value: Value) -> str:
    if value is None:
        return ""
    if isinstance(value, dt.date):
        return DATES[style.dates](value)
    if isinstance(value, float):
        if style.metric and name in KINDS:
            _, convert, digits = METRIC[KINDS[name]]
            return f"{convert(value):.{digits}f}".replace(".", style.decimal)
        if name == "invoice_total":
            return f"{value:,.2f}".translate(str.maketrans(",.", ".,")) if style.decimal == "," else f"{value:,.2f}"
        return f"{value:g}".replace(".", style.decimal)
    if name in ("visit_type", "cause", "leak_found"):
        return WORDS.get(style.headers, {}).get(value, value)
    return value


def _fault(style: Style, chance: random.Random) -> tuple[str, str, str]:
    """Return a field, what stands in its cell, and the rule that must refuse it."""
    other = "," if style.decimal == "." else "."
    number = chance.choice([name for name in NUMBERS if name != "invoice_total"])
    return chance.choice(
        [
            (number, "err", "not-a-number"),
            (number, "1e999", "not-finite"),
            (number, "9999999", "out-of-range"),
            (number, f"7{other}5", "not-a-number"),
            (number, "12 wombats", "not-a-number"),
            ("visit_type", "wombat", "unknown-word"),
            ("leak_found", "perhaps not", "unknown-word"),
            ("visit_date", "31.31.2023", "not-a-date"),
            ("visit_date", "soon", "not-a-date"),
        ]
    )


def _quoted(cell: str, delimiter: str) -> str:
    return '"' + cell.replace('"', '""') + '"' if delimiter in cell or '"' in cell else cell
