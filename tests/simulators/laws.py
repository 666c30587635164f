"""Ageing laws of capacitor sections and failure laws of units, all invented."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

AGEING = ("linear", "accelerating", "two_phase", "jumps", "power", "mixed", "settling")
FAILING = ("additive", "proportional", "late", "threshold", "load_and_charge", "joint")
MONTHS_PER_YEAR = 12


@dataclass(frozen=True)
class State:
    """True state of units in one month, arrays over units."""

    herm: Floats
    fan: Floats
    loss_f: Floats
    load: Floats
    age: Floats
    frailty: Floats
    strength: Floats
    calls: Floats
    make_effect: Floats


def draw_parts(rng: np.random.Generator, law: str, n: int, scale: Floats) -> Floats:
    """Return n rows of path parameters: kind, rate, second, onset."""
    kinds = {"linear": 0, "accelerating": 1, "two_phase": 2, "jumps": 3, "power": 4, "settling": 5}
    kind = rng.integers(0, 5, n) if law == "mixed" else np.full(n, kinds[law])
    rate = np.exp(rng.normal(0, 0.8, n)) * scale
    second = rng.uniform(0, 1, n)
    onset = 8.0 * rng.weibull(2.0, n)
    return np.column_stack([kind, rate, second, onset])


def path(parts: Floats, age: Floats, jumps: Floats) -> Floats:
    """Return the drift [%] of parts at their ages [years]; ``jumps`` is what the gamma law has summed up."""
    kind, rate, second, onset = parts.T
    linear = -0.75 * rate * age
    tau = 3.0 + 3.5 * second
    accelerating = -0.45 * rate * np.expm1(np.minimum(age / tau, 6.0))
    two_phase = -0.15 * age - 2.6 * rate * np.maximum(0.0, age - onset)
    power = -0.35 * rate * age ** (0.7 + 1.2 * second)
    # quick at first, then slow, with a late fall for some: no path of the forecast bends this way
    settling = -5.0 * rate * -np.expm1(-age / (2.0 + 5.0 * second)) - 1.2 * np.maximum(0.0, age - 1.5 * onset)
    drift = np.select(
        [kind == 0, kind == 1, kind == 2, kind == 3, kind == 4],
        [linear, accelerating, two_phase, -jumps, power],
        settling,
    )
    return np.maximum(drift, -59.0)


def jump_step(rng: np.random.Generator, parts: Floats) -> Floats:
    """Return one month's loss [%] under the gamma law."""
    rate = parts[:, 1] * 0.8 / MONTHS_PER_YEAR
    return rng.gamma(np.maximum(rate / 1.6, 1e-6), 1.6)


def hazard(law: str, s: State) -> dict[str, Floats]:
    """Return the hazard per season by cause."""

    def steep(d: Floats, middle: float, width: float, top: float) -> Floats:
        return top / (1 + np.exp((d - middle) / width))

    if law == "additive":
        return {
            "run_capacitor": steep(s.herm, -19, 2.0, 0.9) + steep(s.fan, -25, 2.5, 0.8) + 0.004,
            "refrigerant_leak": 0.006 * np.expm1(np.minimum(s.loss_f / 8, 4.5)),
            "compressor": 0.003 * np.exp(np.clip(9 * (s.load - 0.9), -4, 4)),
            "other": 0.018 * (s.age / 8) ** 1.2 * s.make_effect * s.frailty * (1 + 0.5 * s.calls),
        }
    if law == "proportional":
        total = (
            0.012
            * np.exp(
                0.055 * -np.maximum(s.herm, -40)
                + 0.03 * -np.maximum(s.fan, -40)
                + 0.05 * np.minimum(s.loss_f, 30)
                + 2.0 * (s.load - 0.85)
                + 0.04 * s.age
            )
            * s.make_effect
            * s.frailty
        )
        total = np.minimum(total, 2.5)
        capacitor = np.clip(-(s.herm + s.fan) / 60, 0.05, 0.6)
        leak = np.clip(s.loss_f / 40, 0.02, 0.3)
        rest = 1 - capacitor - leak
        return {
            "run_capacitor": total * capacitor,
            "refrigerant_leak": total * leak,
            "compressor": total * rest * 0.15,
            "other": total * rest * 0.85,
        }
    if law == "late":
        return {
            "run_capacitor": steep(s.herm, -24, 3.0, 0.4) + steep(s.fan, -30, 3.0, 0.3) + 0.003,
            "refrigerant_leak": 0.003 * np.expm1(np.minimum(s.loss_f / 10, 3.0)),
            "compressor": 0.003 * (s.age / 10) ** 3,
            "other": 0.02 * (s.age / 10) ** 2.5 * s.make_effect * s.frailty,
        }
    if law == "threshold":
        weak = np.maximum((s.herm < s.strength) * 0.8, (s.fan < s.strength - 5) * 0.6)
        return {
            "run_capacitor": weak + 0.006,
            "refrigerant_leak": np.where(s.loss_f > 16, 0.35, 0.002),
            "compressor": np.where(s.load > 1.02, 0.12, 0.003),
            "other": 0.015 * s.make_effect * s.frailty * (0.5 + s.age / 16),
        }
    if law == "joint":
        # what is worn makes the rest worse: no hazard adds up here, and none is a power of another
        weak, short = 1 / (1 + np.exp((s.herm + 12) / 3)), 1 / (1 + np.exp((10 - s.loss_f) / 3))
        strain = np.clip((s.load - 0.85) / 0.15, 0, 2)
        return {
            "run_capacitor": 0.16 * weak * (1 + strain) + 0.06 / (1 + np.exp((s.fan + 16) / 3)) + 0.004,
            "refrigerant_leak": 0.10 * short * (1 + weak),
            "compressor": 0.002 + 0.05 * strain * short + 0.03 * strain * weak,
            "other": 0.01 * s.frailty**2 * s.make_effect * np.exp(0.5 * s.calls),
        }
    return {
        "run_capacitor": 0.05 * np.clip((-s.herm - 8) / 10, 0, 4) + 0.03 * np.clip((-s.fan - 12) / 10, 0, 4) + 0.004,
        "refrigerant_leak": 0.02 * np.clip((s.loss_f - 4) / 5, 0, 8),
        "compressor": 0.01 * np.exp(np.clip(12 * (s.load - 0.95), -4, 3.5)),
        "other": 0.012 * s.make_effect * s.frailty * (1 + s.calls),
    }
