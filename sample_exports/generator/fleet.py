"""What stands in the gardens: the unchanging facts of every unit, and when the shop looks after it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sample_exports.generator.almanac import YEAR_DAYS, day
from sample_exports.generator.words import EEV, EQUIPMENT, FIXED, INSTALLERS, MAKE_SHARE, TXV

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

NEVER = day(dt.date(2200, 1, 1))
MINI_SPLIT = EQUIPMENT.index("mini_split")
HEAT_PUMPS = (EQUIPMENT.index("split_heat_pump"), EQUIPMENT.index("package_heat_pump"))
# Hermetic and fan ratings fitted by makers for each size (common practice, no source).
RATINGS = {
    1.5: ((25, 3), (30, 5), (30, 3)),
    2.0: ((30, 5), (35, 5), (35, 3)),
    2.5: ((35, 5), (40, 5), (35, 7.5)),
    3.0: ((40, 5), (45, 5), (40, 7.5)),
    3.5: ((45, 5), (45, 7.5), (50, 5)),
    4.0: ((50, 7.5), (55, 5), (60, 7.5)),
    5.0: ((70, 7.5), (80, 7.5), (80, 10)),
}
TONS_SHARE = (0.07, 0.15, 0.18, 0.26, 0.14, 0.12, 0.08)


@dataclass
class Fleet:
    """Columns of the units, one entry per unit. Days count from 1970-01-01; codes index the tuples of ``words``."""

    site: Ints
    equipment: Ints
    make: Ints
    tons: Floats
    refrigerant: Ints
    metering: Ints
    installed: Ints
    entry: Ints
    entry_kind: Ints  # 0 early customer, 1 installed by the shop, 2 new customer, 3 house changed hands
    exit: Ints
    exit_reason: NDArray[np.object_]
    successor_of: Ints  # -1 where the unit replaces none
    installer: Ints
    agreement: Bools
    heat: Floats  # 0.6 shade .. 1.6 full sun on a hot wall
    volts: Floats
    rated: Floats  # (n, 3) microfarads, 0 = no such section
    cap_volts: Floats
    tolerance: Floats
    target_subcooling: Floats
    approach: Floats
    superheat_bias: Floats
    charge_oz: Floats
    rla: Floats
    fla: Floats
    registered: Bools
    frailty: Floats

    def __len__(self) -> int:
        return len(self.site)

    @property
    def mini_split(self) -> Bools:
        """Whether a unit is an inverter mini split, which has no run capacitor."""
        return self.equipment == MINI_SPLIT

    @property
    def heat_pump(self) -> Bools:
        """Whether a unit also heats."""
        return np.isin(self.equipment, (*HEAT_PUMPS, MINI_SPLIT))


def make_fleet(rng: np.random.Generator, n: int, first: int, as_of: int) -> Fleet:
    """Return ``n`` units, looked after between the days ``first`` and ``as_of``.

    The last few rows (3 %) wait to replace a unit that is retired; those never needed are late new installations.
    """
    span = as_of - first
    site = np.cumsum(rng.random(n) > 0.09)  # about one unit in eleven shares its site with the one before
    spare = np.arange(n) >= n - int(n * 0.03)
    site = np.where(spare, np.arange(n) + n, site)

    entry_kind = rng.choice(4, n, p=(0.66, 0.13, 0.13, 0.08))
    entry_kind = np.where(spare, 1, entry_kind)
    early = first + (rng.random(n) * 330).astype(int)
    late = first + (span * (0.08 + 0.88 * rng.random(n))).astype(int)
    entry = np.where(entry_kind == 0, early, late)
    entry = np.where(spare, as_of - (rng.random(n) * 0.12 * span).astype(int) - 20, entry)
    age = rng.gamma(2.2, 4.3, n)
    installed = np.where(entry_kind == 1, entry, entry - (np.clip(age, 0.6, 28.0) * YEAR_DAYS).astype(int))

    equipment = rng.choice(len(EQUIPMENT), n, p=(0.615, 0.19, 0.055, 0.05, 0.08, 0.01))
    mini = equipment == MINI_SPLIT
    installed = np.where(mini, np.maximum(installed, day(dt.date(2011, 3, 1))), installed)
    installed = np.minimum(installed, entry)
    make = rng.choice(len(MAKE_SHARE), n, p=MAKE_SHARE)
    tons = rng.choice(list(RATINGS), n, p=TONS_SHARE)
    tons = np.where(mini, np.minimum(tons, 2.0), tons)
    refrigerant = _refrigerant(rng, installed, mini)
    metering = _metering(rng, installed, equipment)

    retired_later = rng.random(n) < 0.05
    old = (as_of - installed) > 11 * YEAR_DAYS
    leaves = entry + ((as_of - entry) * (0.35 + 0.6 * rng.random(n))).astype(int)
    goes = retired_later & old & (entry_kind != 1) & (leaves - entry > 200)
    exit_day = np.where(goes, leaves, NEVER)
    reason = np.full(n, None, dtype=object)
    reason[goes] = rng.choice(
        np.array(["owner replaced it", "house sold", "customer left", "replaced elsewhere"], dtype=object),
        int(goes.sum()),
    )

    rated = _ratings(rng, tons, mini, installed)
    return Fleet(
        site=site,
        equipment=equipment,
        make=make,
        tons=tons,
        refrigerant=refrigerant,
        metering=metering,
        installed=installed,
        entry=entry,
        entry_kind=entry_kind,
        exit=exit_day,
        exit_reason=reason,
        successor_of=np.full(n, -1),
        installer=np.where(entry_kind == 1, 0, rng.choice(len(INSTALLERS), n, p=(0.3, 0.2, 0.13, 0.2, 0.17))),
        agreement=rng.random(n) < 0.54,
        heat=np.clip(rng.lognormal(0.0, 0.22, n), 0.6, 1.6),
        volts=rng.normal(238.0, 3.5, n),
        rated=rated,
        cap_volts=rng.choice([370.0, 440.0], n, p=(0.4, 0.6)),
        tolerance=rng.choice([6.0, 5.0, 10.0], n, p=(0.88, 0.09, 0.03)),
        target_subcooling=rng.choice([8.0, 9.0, 10.0, 11.0, 12.0], n, p=(0.16, 0.14, 0.4, 0.12, 0.18)),
        approach=np.where(installed < day(dt.date(2006, 1, 1)), 27.0, 21.0) + rng.normal(0.0, 1.5, n),
        superheat_bias=rng.normal(0.0, 1.4, n),
        charge_oz=np.round(tons * 32.0 + np.where(mini, -8.0, 24.0) + rng.normal(0.0, 7.0, n)),
        rla=np.round(tons * 4.7 + 1.2 + rng.normal(0.0, 0.5, n), 1),
        fla=np.round(0.6 + 0.2 * tons + rng.normal(0.0, 0.08, n), 1),
        registered=rng.random(n) < 0.62,
        frailty=rng.gamma(4.0, 0.25, n),
    )


def _refrigerant(rng: np.random.Generator, installed: Ints, mini: Bools) -> Ints:
    draw = rng.random(len(installed))
    old = installed < day(dt.date(2009, 6, 1))
    new = installed >= day(dt.date(2025, 1, 1))
    code = np.where(old, np.where(draw < 0.1, 1, 0), 2)
    code = np.where(new, np.where(draw < 0.58, 4, np.where(draw < 0.86, 3, 2)), code)
    code = np.where(mini & (installed >= day(dt.date(2023, 1, 1))), np.where(draw < 0.6, 3, 2), code)
    return np.where(mini & (code < 2), 2, code)


def _metering(rng: np.random.Generator, installed: Ints, equipment: Ints) -> Ints:
    draw = rng.random(len(installed))
    valve_share = np.select(
        [installed < day(dt.date(2006, 1, 1)), installed < day(dt.date(2015, 1, 1))], [0.22, 0.5], default=0.76
    )
    valve_share = np.where(np.isin(equipment, HEAT_PUMPS), np.minimum(valve_share + 0.3, 0.95), valve_share)
    return np.where(equipment == MINI_SPLIT, EEV, np.where(draw < valve_share, TXV, FIXED))


def _ratings(rng: np.random.Generator, tons: Floats, mini: Bools, installed: Ints) -> Floats:
    rated = np.zeros((len(tons), 3))
    pick = rng.choice(3, len(tons), p=(0.5, 0.35, 0.15))
    for size, options in RATINGS.items():
        for number, (herm, fan) in enumerate(options):
            rows = (tons == size) & (pick == number)
            rated[rows, 0], rated[rows, 1] = herm, fan
    psc_blower = rng.random(len(tons)) < np.where(installed < day(dt.date(2014, 1, 1)), 0.7, 0.3)
    rated[:, 2] = np.where(psc_blower, rng.choice([5.0, 7.5, 10.0, 15.0], len(tons), p=(0.35, 0.3, 0.28, 0.07)), 0.0)
    rated[mini] = 0.0
    return rated
