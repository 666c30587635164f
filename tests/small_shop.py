"""A small shop for tests of the round: four sites around one middle, and what is known of their units."""

from __future__ import annotations

import datetime as dt
from typing import Any

import polars as pl

from pipeline.config import Plan, Settings, Technician
from pipeline.plan import appointments, distances
from pipeline.plan.due import Known
from pipeline.plan.places import Centroids
from pipeline.plan.round import Round, plan_round

AS_OF = dt.date(2026, 4, 3)  # a Friday
MONDAY = dt.date(2026, 4, 6)
SEASON = dt.date(2026, 5, 1)
IDA = Technician(name="Ida", start_lat=27.50, start_lon=-91.40, days=("mon", "tue"))
SITES = {"S1": (27.51, -91.40), "S2": (27.50, -91.38), "S3": (27.48, -91.41), "S4": (27.53, -91.43)}


def known(**changes: pl.DataFrame) -> Known:
    """Return units U1 to U5, U5 at the address of U1; U1 flagged, the sites S2 and S3 under agreement."""
    units = {"U1": "S1", "U2": "S2", "U3": "S3", "U4": "S4", "U5": "S1"}
    risk = pl.DataFrame(
        {
            "unit_id": list(units),
            "p_failure": [0.30, 0.05, 0.05, 0.10, 0.20],
            "prevention_share": [0.8, 0.3, 0.3, 0.3, 0.8],
            "flagged": [True, False, False, True, True],
            "leading_reason": ["run_capacitor: worn", "other: old", None, "other: old", "run_capacitor: worn"],
            "last_visit_on": [dt.date(2025, 4, 1)] * 5,
        }
    )
    frames: dict[str, Any] = {
        "risk": risk,
        "units": pl.DataFrame(
            {
                "unit_id": list(units),
                "site_id": list(units.values()),
                "refrigerant": ["R-410A", "R-410A", "R-32", "R-410A", None],
                "equipment": ["split_ac"] * 5,
            }
        ),
        "sites": sites(SITES),
        "findings": pl.DataFrame(
            schema={"unit_id": pl.String, "finding": pl.String, "found_on": pl.Date, "decision": pl.String}
        ),
        "sections": pl.DataFrame(
            schema={
                "unit_id": pl.String,
                "section": pl.String,
                "p_out_by_season_end": pl.Float64,
                "basis": pl.String,
                "drift_sd_pct": pl.Float64,
                "last_reading_on": pl.Date,
            }
        ),
        "warranty": pl.DataFrame(
            schema={
                "unit_id": pl.String,
                "part": pl.String,
                "section": pl.String,
                "state": pl.String,
                "amount": pl.Float64,
                "deadline": pl.Date,
            }
        ),
        "visits": pl.DataFrame(
            schema={"unit_id": pl.String, "visit_date": pl.Date, "visit_type": pl.String, "outdoor_db_f": pl.Float64}
        ),
    }
    return Known(**(frames | changes), as_of=AS_OF, season_start=SEASON)


def sites(places: dict[str, tuple[float | None, float | None]], codes: dict[str, str] | None = None) -> pl.DataFrame:
    """Return sites of which S2 and S3 are under agreement."""
    return pl.DataFrame(
        {
            "site_id": list(places),
            "lat": [place[0] for place in places.values()],
            "lon": [place[1] for place in places.values()],
            "postal_code": [(codes or {}).get(name) for name in places],
            "agreement": ["yes" if name in ("S2", "S3") else "no" for name in places],
            "source_file": "sites.csv",
            "source_line": range(2, len(places) + 2),
        },
        schema_overrides={"lat": pl.Float64, "lon": pl.Float64, "postal_code": pl.String, "source_line": pl.Int64},
    )


def plan(
    shop: Known | None = None,
    technicians: tuple[Technician, ...] = (IDA,),
    promised: list[dict[str, str]] | None = None,
    travel: list[dict[str, str]] | None = None,
    centroids: Centroids = lambda codes: {code: (27.5, -91.4) for code in codes if code == "00100"},
    **settings: Any,
) -> Round:
    """Return the plan of the small shop; ``settings`` are those of ``[plan]``."""
    return plan_round(
        shop or known(),
        Settings(technicians=technicians, plan=Plan(**settings)),
        centroids=centroids,
        appointments=_table(promised, appointments.COLUMNS),
        travel=_table(travel, distances.COLUMNS),
        iterations=60,
    )


def _table(rows: list[dict[str, str]] | None, columns: tuple[str, ...]) -> pl.DataFrame:
    numbered = [row | {"source_line": n} for n, row in enumerate(rows or [], 2)]
    return pl.DataFrame(numbered, schema=dict.fromkeys(columns, pl.String()) | {"source_line": pl.Int64()})
