"""An invented town and the people in it: streets, names and numbers that belong to nobody.

Phone numbers lie in 555-0100 to 555-0199 (set aside for fiction) under area codes that are not assigned (99x);
postal codes begin with 002, which no place uses; the town's coordinates are in open sea.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from sample_exports.generator.almanac import YEAR_DAYS
from sample_exports.generator.fleet import Fleet

TOWN, VILLAGES, STATE = "Harrowmere", ("Lower Harrow", "Quernby", "Saltern Reach"), "EM"
CENTRE = (27.60, -91.40)
STREETS = (
    "Tallow",
    "Windlass",
    "Copperbeech",
    "Farthing",
    "Heronsgate",
    "Millrace",
    "Old Ropewalk",
    "Pennywhistle",
    "Quarry Hollow",
    "Saltcellar",
    "Thimble",
    "Underhill",
    "Vesper",
    "Weaver's Row",
    "Yarrow",
    "Bramble Weir",
    "Candlewick",
    "Driftwood",
    "Ember",
    "Foxglove",
)
KINDS = ("St", "Ave", "Ln", "Ct", "Rd", "Way")
FIRST = (
    "A.",
    "B.",
    "C.",
    "D.",
    "E.",
    "F.",
    "G.",
    "H.",
    "I.",
    "J.",
    "K.",
    "L.",
    "M.",
    "N.",
    "O.",
    "P.",
    "R.",
    "S.",
    "T.",
    "V.",
    "W.",
    "Y.",
)
HEAD = (
    "Ashen",
    "Bram",
    "Corn",
    "Dell",
    "Elder",
    "Fen",
    "Gorse",
    "Hazel",
    "Ink",
    "Juniper",
    "Kettle",
    "Larch",
    "Moss",
    "Nettle",
    "Oaken",
    "Quill",
    "Rook",
    "Sedge",
    "Thistle",
    "Wick",
)
TAIL = (
    "mere",
    "wick",
    "bough",
    "combe",
    "dottir",
    "fold",
    "garth",
    "holt",
    "lowe",
    "mantle",
    "naught",
    "pole",
    "sworth",
    "thwaite",
    "vane",
)
ACCESS = (
    "gate code at the office",
    "dog in the garden",
    "unit behind the shed",
    "call before coming",
    "narrow side gate",
    "roof hatch, bring ladder",
)


def sites(rng: np.random.Generator, fleet: Fleet, as_of: int) -> pl.DataFrame:
    """Return one row per site in use: its number ``site`` and the fields of the sites table; dates as day numbers."""
    used, first_unit = np.unique(fleet.site, return_index=True)
    k = len(used)

    def pick(options: tuple[str, ...]) -> np.ndarray:
        return np.array(options, dtype=object)[rng.integers(0, len(options), k)]

    lat = CENTRE[0] + rng.normal(0.0, 0.045, k)
    lon = CENTRE[1] + rng.normal(0.0, 0.055, k)
    far = np.hypot(lat - CENTRE[0], lon - CENTRE[1]) > 0.09
    city = np.where(far, pick(VILLAGES), TOWN)
    zone = np.where(far, 31 + rng.integers(0, 3, k), 14 + (lat > CENTRE[0]) + 2 * (lon > CENTRE[1]))
    located = rng.random(k) > 0.03
    entry, kind = fleet.entry[first_unit], fleet.entry_kind[first_unit]
    moved = kind == 3
    owner = np.where(
        moved, entry - rng.integers(10, 150, k), entry - (rng.gamma(1.5, 6.0, k) * YEAR_DAYS).astype(int) - 30
    )
    agreement = fleet.agreement[first_unit]
    since = entry + (rng.random(k) * np.maximum(as_of - entry - 30, 1) * 0.5).astype(int)
    years = np.ceil((as_of - since) / YEAR_DAYS)
    return pl.DataFrame(
        {
            "site": used,
            "site_id": [f"S-{n:04d}" for n in range(1, k + 1)],
            "customer_name": (pick(FIRST) + " " + pick(HEAD) + pick(TAIL)).tolist(),
            "phone": [
                f"({area}) 555-{number:04d}"
                for area, number in zip(990 + rng.integers(0, 10, k), 100 + rng.integers(0, 100, k), strict=True)
            ],
            "address": [
                f"{n} {s} {t}" for n, s, t in zip(rng.integers(1, 960, k), pick(STREETS), pick(KINDS), strict=True)
            ],
            "city": city.tolist(),
            "state": [STATE] * k,
            "postal_code": [f"002{z:02d}" for z in zone],
            "lat": np.where(located, np.round(lat, 5), np.nan),
            "lon": np.where(located, np.round(lon, 5), np.nan),
            "agreement": np.where(agreement, "yes", "no"),
            "agreement_since": np.where(agreement, since, -1),
            "agreement_renews_on": np.where(agreement, since + (years * YEAR_DAYS).astype(int) + 1, -1),
            "owner_since": np.where(moved | (rng.random(k) < 0.35), owner, -1),
            "access_notes": pl.Series(np.where(rng.random(k) < 0.18, pick(ACCESS), None).tolist(), dtype=pl.String),
        }
    ).with_columns(pl.col("lat", "lon").fill_nan(None))
