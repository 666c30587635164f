"""Code lists: the simulation works on small integers, the frames carry the contract's words."""

from __future__ import annotations

VISIT_TYPES = ("maintenance", "repair", "no_cooling", "install", "callback", "inspection")
MAINTENANCE, REPAIR, NO_COOLING, INSTALL, CALLBACK, INSPECTION = range(6)

CAUSES = (
    "run_capacitor",
    "contactor",
    "condenser_fan_motor",
    "compressor",
    "refrigerant_leak",
    "metering_device",
    "reversing_valve",
    "control_board",
    "thermostat",
    "transformer",
    "condensate_drain",
    "blower_motor",
    "dirty_coil",
    "airflow",
    "wiring",
    "no_fault_found",
    "other",
)
CAUSE = {word: code for code, word in enumerate(CAUSES)}

PARTS = (*CAUSES, "evaporator_coil", "condenser_coil", "start_kit", "filter_drier", "line_set", "refrigerant")
PART = {word: code for code, word in enumerate(PARTS)}

OBSERVATIONS = (
    "swollen_capacitor",
    "pitted_contactor",
    "oil_stain",
    "iced_coil",
    "dirty_coil",
    "dirty_filter",
    "noisy_compressor",
    "hard_start_kit",
    "corroded_coil",
    "vibration",
)
SWOLLEN, PITTED, OIL, ICED, DIRTY_COIL, DIRTY_FILTER, NOISY, START_KIT, CORRODED, VIBRATION = (
    1 << i for i in range(10)
)

DECISIONS = ("approved", "declined", "later", "waiting_for_part")
APPROVED, DECLINED, LATER, WAITING = range(4)
CLAIMS = ("none", "to_file", "filed", "credited", "denied")
MODES = ("cooling", "heating", "off")
LEAKS = ("yes", "no", "suspected")
SECTIONS = ("herm", "fan", "blower")

EQUIPMENT = ("split_ac", "split_heat_pump", "package_ac", "package_heat_pump", "mini_split", "other")
REFRIGERANTS = ("R-22", "R-407C", "R-410A", "R-32", "R-454B")
METERING = ("fixed_orifice", "txv", "eev")
FIXED, TXV, EEV = range(3)

# Invented names; none is meant to be, or to resemble, a real maker, person or place.
MAKES = (
    "Zephrane",
    "Brumalis",
    "Kestrowick",
    "Aldermoor",
    "Polveran",
    "Quillaire",
    "Ostrevane",
    "Thornbeck",
    "Varnish & Loom",
)
MAKE_SHARE = (0.22, 0.18, 0.15, 0.13, 0.11, 0.08, 0.06, 0.05, 0.02)
MAKE_HAZARD = (0.9, 1.0, 0.85, 1.0, 1.1, 1.75, 1.0, 0.8, 1.3)
PART_MAKES = ("Ombrelcap", "Tarnvolt", "Fennick", "Greywell", "Plain Box")
PART_MAKE_SHARE = (0.34, 0.27, 0.2, 0.12, 0.07)
PART_MAKE_DRIFT = (0.8, 1.0, 1.1, 1.0, 2.2)
INSTALLERS = ("own crew", "Mossgate Heating", "Pell & Daughter", "builder", "unknown")
TECHNICIANS = ("Ardo", "Brisa", "Corvin", "Dunja", "Emlyn", "Fitch")
