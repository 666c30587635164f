"""How different hands put readings into a notes field, each note with what it truly says.

A note is a list of phrases; a phrase is its text and the readings a careful reader would take from it. Phrases that
look like readings and are none (phone numbers, filter sizes, part numbers, prices) carry nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

Readings = dict[str, float]
Phrase = tuple[str, Readings]
Given = Mapping[str, float]
"""Rounded values of one visit to one unit: fields, and ``rated_herm``, ``rated_fan``, ``refrigerant`` (its digits)."""

DISTRACTIONS = (
    "call 990-555-0147 first",
    "16x25x1 filter",
    "20x20x1 filter on order",
    "gate 4412",
    "paid ck 1093",
    "quote 1850 for coil",
    "model ZEC36-2",
    "sn 1422061183",
    "cust wants call after 4/15",
    "back in 2 wks",
    "disconnect 60a",
    "arrived 10:30",
)
REMARKS = (
    "washed coil",
    "drain clear",
    "filter changed",
    "all ok",
    "cap good",
    "contactor pitted",
    "no leaks found",
    "running good on departure",
    "dirty filter",
    "cap not swollen",
    "cust happy",
    "tightened lugs",
)


def _has(given: Given, *names: str) -> bool:
    return all(name in given for name in names)


def terse(rng: np.random.Generator, given: Given) -> list[Phrase]:
    """118/365 SH 14 SC 9 cap 38.2/4.6"""
    out: list[Phrase] = []
    if _has(given, "suction_psig", "liquid_psig"):
        low, high = given["suction_psig"], given["liquid_psig"]
        out.append((f"{low:.0f}/{high:.0f}", {"suction_psig": round(low), "liquid_psig": round(high)}))
    if _has(given, "recorded_superheat_f"):
        out.append((f"SH {given['recorded_superheat_f']:g}", _only(given, "recorded_superheat_f")))
    if _has(given, "recorded_subcooling_f"):
        out.append((f"SC {given['recorded_subcooling_f']:g}", _only(given, "recorded_subcooling_f")))
    if _has(given, "herm_uf", "fan_uf"):
        out.append((f"cap {given['herm_uf']:g}/{given['fan_uf']:g}", _only(given, "herm_uf", "fan_uf")))
    if _has(given, "recorded_split_f") and rng.random() < 0.6:
        out.append((f"split {given['recorded_split_f']:g}", _only(given, "recorded_split_f")))
    return out


def wordy(rng: np.random.Generator, given: Given) -> list[Phrase]:
    """Suction 118 psi, head 365. Superheat 14. Herm 38.2 of 40, fan 4.6 of 5."""
    out: list[Phrase] = []
    if _has(given, "suction_psig", "liquid_psig"):
        low, high = round(given["suction_psig"]), round(given["liquid_psig"])
        out.append((f"Suction {low} psi, head {high} psi", {"suction_psig": low, "liquid_psig": high}))
    if _has(given, "recorded_superheat_f"):
        out.append((f"Superheat {given['recorded_superheat_f']:g}", _only(given, "recorded_superheat_f")))
    if _has(given, "recorded_subcooling_f"):
        out.append((f"subcooling {given['recorded_subcooling_f']:g} degrees", _only(given, "recorded_subcooling_f")))
    if _has(given, "return_wb_f") and rng.random() < 0.7:
        out.append((f"wet bulb {given['return_wb_f']:g}", _only(given, "return_wb_f")))
    if _has(given, "outdoor_db_f"):
        out.append((f"outdoor {given['outdoor_db_f']:g}", _only(given, "outdoor_db_f")))
    for section, label in (("herm", "Herm"), ("fan", "fan")):
        if _has(given, f"{section}_uf", f"rated_{section}"):
            text = f"{label} {given[f'{section}_uf']:g} of {given[f'rated_{section}']:g}"
            out.append((text, _only(given, f"{section}_uf")))
    return out


def sloppy(rng: np.random.Generator, given: Given) -> list[Phrase]:
    """herm 38.2 fan 4.6 sh14 sc 9 oat 92"""
    out: list[Phrase] = []
    if _has(given, "herm_uf"):
        out.append((f"herm {given['herm_uf']:g}uf", _only(given, "herm_uf")))
    if _has(given, "fan_uf"):
        out.append((f"fan {given['fan_uf']:g}", _only(given, "fan_uf")))
    if _has(given, "recorded_superheat_f"):
        out.append((f"sh{given['recorded_superheat_f']:g}", _only(given, "recorded_superheat_f")))
    if _has(given, "recorded_subcooling_f") and rng.random() < 0.8:
        out.append((f"{given['recorded_subcooling_f']:g} sc", _only(given, "recorded_subcooling_f")))
    if _has(given, "return_wb_f"):
        out.append((f"wb {given['return_wb_f']:g}", _only(given, "return_wb_f")))
    if _has(given, "outdoor_db_f"):
        out.append((f"oat {given['outdoor_db_f']:g}", _only(given, "outdoor_db_f")))
    return out


def silent(rng: np.random.Generator, given: Given) -> list[Phrase]:
    """pm done, cap good"""
    out: list[Phrase] = [("pm done" if rng.random() < 0.5 else "done", {})]
    if _has(given, "herm_uf") and rng.random() < 0.25:
        out.append((f"C-H {given['herm_uf']:g}", _only(given, "herm_uf")))
    return out


HANDS: tuple[Callable[[np.random.Generator, Given], list[Phrase]], ...] = (terse, wordy, sloppy, silent)
HAND_SHARE = (0.36, 0.24, 0.26, 0.14)


def added(rng: np.random.Generator, given: Given) -> list[Phrase]:
    """Return how refrigerant weighed in is told: lb and oz, or pounds as #."""
    if "refrigerant_added_oz" not in given:
        return []
    ounces, name = round(given["refrigerant_added_oz"]), f"{given['refrigerant']:.0f}"
    taken = {"refrigerant_added_oz": float(ounces)}
    if ounces >= 16 and rng.random() < 0.6:
        return [
            (
                f"added {ounces // 16} lb {ounces % 16} oz R{name}a"
                if name == "410"
                else f"added {ounces // 16} lb {ounces % 16} oz R{name}",
                taken,
            )
        ]
    if ounces % 16 == 0:
        return [(f"added {ounces // 16}# {name}", taken)]
    return [(f"topped off {ounces} oz {name}", taken)]


def replaced(rng: np.random.Generator, given: Given) -> list[Phrase]:
    """Return how a capacitor replacement is told; ``part_*`` readings are ratings of the part fitted."""
    if "part_herm" not in given:
        return []
    herm, fan = given["part_herm"], given.get("part_fan", 0.0)
    size = f"{herm:g}/{fan:g}" if fan else f"{herm:g}"
    part = {"part_cap_herm_uf": herm} | ({"part_cap_fan_uf": fan} if fan else {})
    if _has(given, "herm_uf", "herm_uf_after") and rng.random() < 0.5:
        text = f"herm was {given['herm_uf']:g} now {given['herm_uf_after']:g}"
        return [(f"installed {size} cap", part), (text, _only(given, "herm_uf", "herm_uf_after"))]
    if given.get("herm_uf") == 0.0:
        return [("herm open", {"herm_uf": 0.0}), (f"new {size} mfd 440v cap", part)]
    return [(f"replaced run cap {size}", part)]


def _only(given: Given, *names: str) -> Readings:
    return {name: float(given[name]) for name in names}
