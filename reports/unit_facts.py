"""What is known of a unit and its address, as pairs of label and text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from reports.format import day, name, number, words

Row = Mapping[str, Any]
Facts = tuple[tuple[str, str], ...]

METERING: Mapping[str, str] = {"txv": "TXV", "eev": "EEV", "fixed_orifice": "fixed orifice"}
WARRANTY = (
    ("parts", "parts_warranty_years"),
    ("compressor", "compressor_warranty_years"),
    ("labor", "labor_warranty_years"),
)


def system_facts(unit: Row, readings: Sequence[Row]) -> Facts:
    """Return what is known of the system; what is not known is left out."""
    system = ", ".join(
        part
        for part in (equipment(unit["equipment"]), name(unit["make"]), name(unit["model"]))
        if part not in {"–", ""}
    )
    warranty = ", ".join(f"{label} {number(unit[key])} years" for label, key in WARRANTY if unit[key] is not None)
    return _known(
        ("System", system),
        ("Serial", name(unit["serial"])),
        ("Size", f"{number(unit['nominal_tons'], 1)} tons" if unit["nominal_tons"] else ""),
        ("Capacitor", capacitor_in_place(unit, readings)),
        ("Refrigerant", name(unit["refrigerant"])),
        ("Metering", METERING.get(unit["metering"] or "", "")),
        ("Factory charge", f"{number(unit['factory_charge_oz'])} oz" if unit["factory_charge_oz"] else ""),
        ("Installed", day(unit["installed_on"]) if unit["installed_on"] else ""),
        ("Made", day(unit["manufactured_on"]) if unit["manufactured_on"] else ""),
        ("Warranty terms", warranty),
        ("Registered", words(unit["registered"]) if unit["registered"] else ""),
        ("Last visit", day(unit["last_visit_on"])),
    )


def equipment(word: str | None) -> str:
    """Return the kind of equipment as people write it, ``split AC``."""
    return " ".join(part.upper() if part == "ac" else part for part in words(word).split(" "))


def place_facts(unit: Row) -> Facts:
    """Return where the unit stands and whom to call."""
    town = " ".join(name(unit[key]) for key in ("city", "state", "postal_code") if unit[key])
    return _known(
        ("Customer", name(unit["customer_name"])),
        ("Phone", name(unit["phone"])),
        ("Street", name(unit["address"])),
        ("Town", town),
        ("On site", name(unit["unit_location"])),
        ("Access", name(unit["access_notes"])),
        ("Agreement", words(unit["agreement"]) if unit["agreement"] else ""),
        ("Owner since", day(unit["owner_since"]) if unit["owner_since"] else ""),
    )


def capacitor_in_place(unit: Row, readings: Sequence[Row]) -> str:
    """Return the size of the capacitor that the unit should have now, ``40+5 µF, blower 7.5 µF, 440 V``; or nothing.

    The rating in force at the newest reading of a section counts before the unit's own; one that is only the common
    size nearest to a reading is said to be a guess.
    """
    rated = {key: unit[f"cap_{key}_uf"] for key in ("herm", "fan", "blower")}
    read = [row for row in readings if row["rated_uf"] is not None]
    rated |= {row["section"]: row["rated_uf"] for row in read}
    guessed = "nearest_size" in {row["section"]: row["rated_source"] for row in read}.values()
    dual = "+".join(f"{rated[key]:g}" for key in ("herm", "fan") if rated[key])
    parts = [f"{dual} µF" if dual else "", f"blower {rated['blower']:g} µF" if rated["blower"] else ""]
    parts.append(f"{unit['cap_volts']:g} V" if unit["cap_volts"] and any(parts) else "")
    parts.append("guessed from readings, the label decides" if guessed else "")
    return ", ".join(part for part in parts if part)


def _known(*facts: tuple[str, str]) -> Facts:
    return tuple((label, text) for label, text in facts if text)
