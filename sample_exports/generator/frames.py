"""From columns of codes and day numbers to the contract's tables."""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from sample_exports.generator import words
from sample_exports.generator.fleet import Fleet, Floats, Ints
from sample_exports.generator.visits import NUMBERS, Ledger

TRUE_COLUMNS = ("true_superheat_f", "true_subcooling_f", "true_charge_pct")
VISIT_FEE = (129.0, 149.0, 189.0, 4200.0, 0.0, 99.0)
LOCATIONS = ("left side", "right side", "rear", "garage roof", "north pad", "behind the porch")
REASONS = ("wants to wait", "too dear", "asked for a quote", "will ask spouse", None, None)
Chunks = list[dict[str, NDArray[np.generic]]]


def tables(
    rng: np.random.Generator,
    fleet: Fleet,
    ledger: Ledger,
    place: pl.DataFrame,
    truth: list[tuple[Ints, Ints, Floats, Floats, Floats]],
    as_of: int,
) -> dict[str, pl.DataFrame]:
    """Return every table of ``simulate``; ids are given in order of date."""
    visits = (
        _joined(ledger.visits)
        .with_row_index("visit")
        .with_columns(site=fleet.site[np.concatenate([c["unit"] for c in ledger.visits])])
    )
    visits = visits.filter(pl.col("day") <= as_of).sort("day", "site", "visit_type", "unit", "visit")
    visits = visits.unique(["day", "site", "visit_type", "unit"], keep="first", maintain_order=True)
    year = pl.from_epoch("day", time_unit="d").dt.year()
    ticket = pl.struct("day", "site", "visit_type").rank("dense").over(year).cast(pl.Int64)
    visits = visits.with_columns(visit_id=pl.format("{}-{}", year, ticket.cast(pl.String).str.zfill(5)))
    unit_ids = pl.Series("unit_id", [f"U-{n:04d}" for n in range(1, len(fleet) + 1)])

    def named(column: str, options: tuple[str | None, ...]) -> pl.Expr:
        code = pl.col(column)
        return (
            pl.when(code >= 0)
            .then(pl.lit(pl.Series(list(options), dtype=pl.String)).gather(code.clip(0)))
            .alias(column)
        )

    def dated(column: str, name: str | None = None) -> pl.Expr:
        return pl.when(pl.col(column) >= 0).then(pl.from_epoch(pl.col(column), time_unit="d")).alias(name or column)

    keys = visits.select(pl.col("visit").cast(pl.Int64), "visit_id", "day")
    parts = (
        _joined(ledger.parts)
        .join(keys, on="visit", how="inner", maintain_order="left")
        .sort("visit_id", "unit", "part", maintain_order=True)
    )
    advice = (
        _joined(ledger.advice)
        .join(keys, on="visit", how="inner", maintain_order="left")
        .sort("visit_id", "unit", "item", maintain_order=True)
    )
    advice = advice.unique(["visit_id", "unit", "item"], keep="first", maintain_order=True)
    spent = parts.group_by("visit").agg(pl.col("price").sum())
    observed = [
        pl.when(pl.col("observations") & (1 << i) > 0).then(pl.lit(word)) for i, word in enumerate(words.OBSERVATIONS)
    ]
    fee = pl.lit(pl.Series(VISIT_FEE)).gather("visit_type")
    unit = unit_ids.gather(visits["unit"])
    out_visits = visits.join(
        spent, left_on=pl.col("visit").cast(pl.Int64), right_on="visit", how="left", maintain_order="left"
    ).select(
        "visit_id",
        unit.alias("unit_id"),
        dated("day", "visit_date"),
        named("technician", words.TECHNICIANS),
        named("visit_type", words.VISIT_TYPES),
        named("cause", words.CAUSES),
        pl.concat_str(observed, separator="; ", ignore_nulls=True).replace("", None).alias("observations"),
        named("mode", words.MODES),
        *[pl.col(name).fill_nan(None) for name in NUMBERS],
        named("leak_found", words.LEAKS),
        (fee + pl.col("price").fill_null(0.0)).round(2).alias("invoice_total"),
    )
    out_parts = parts.select(
        "visit_id",
        unit_ids.gather(parts["unit"]).alias("unit_id"),
        named("part", words.PARTS),
        "quantity",
        named("part_make", words.PART_MAKES),
        *[
            pl.col(name).fill_nan(None)
            for name in ("cap_herm_uf", "cap_fan_uf", "cap_blower_uf", "cap_volts", "cap_tolerance_pct")
        ],
        "cost",
        "price",
        named("claim_status", words.CLAIMS),
        pl.col("claim_amount").fill_nan(None),
        dated("claimed_on").alias("claimed_on"),
        pl.when(pl.col("part") == words.PART["compressor"])
        .then(5.0)
        .when(pl.col("part_make") >= 0)
        .then(1.0)
        .alias("part_warranty_years"),
        _serials(rng, parts).alias("serial_in"),
    )
    out_advice = advice.select(
        "visit_id",
        unit_ids.gather(advice["unit"]).alias("unit_id"),
        named("item", words.PARTS),
        named("decision", words.DECISIONS),
        dated("decided_on"),
        "price",
        pl.when(pl.col("decision").is_in([words.DECLINED, words.LATER]))
        .then(pl.lit(pl.Series(list(REASONS), dtype=pl.String)).gather(pl.col("reason")))
        .alias("reason"),
    )
    truth_sections, truth_units = _truth(fleet, truth, unit_ids, visits, as_of)
    return {
        "visits": out_visits.drop(TRUE_COLUMNS),
        "units": _register(rng, fleet, place, unit_ids, as_of),
        "sites": place.select(
            pl.exclude("site", "agreement_since", "agreement_renews_on", "owner_since", "access_notes"),
            dated("agreement_since"),
            dated("agreement_renews_on"),
            dated("owner_since"),
            "access_notes",
        ),
        "parts": out_parts,
        "recommendations": out_advice,
        "truth_visits": out_visits.select("visit_id", "unit_id", "visit_date", *TRUE_COLUMNS).filter(
            pl.col("true_superheat_f").is_not_null()
        ),
        "truth_sections": truth_sections,
        "truth_units": truth_units,
    }


def _joined(chunks: Chunks) -> pl.DataFrame:
    return pl.DataFrame({name: np.concatenate([chunk[name] for chunk in chunks]) for name in chunks[0]})


def _serials(rng: np.random.Generator, parts: pl.DataFrame) -> pl.Series:
    numbers = rng.integers(100_000, 999_999, len(parts))
    bearing = np.isin(
        parts["part"].to_numpy(),
        [words.PART[w] for w in ("compressor", "control_board", "blower_motor", "condenser_fan_motor")],
    )
    known = parts["serial_known"].to_numpy() & bearing
    return pl.Series([f"0{n}" if on else None for n, on in zip(numbers, known, strict=True)], dtype=pl.String)


def _register(
    rng: np.random.Generator, fleet: Fleet, place: pl.DataFrame, unit_ids: pl.Series, as_of: int
) -> pl.DataFrame:
    """Return the unit register as the office keeps it, with what it never learned left blank."""
    n = len(fleet)

    def known(share: float | Floats) -> NDArray[np.bool_]:
        return rng.random(n) < share

    def text(values: NDArray[np.generic] | list[str], among: NDArray[np.bool_]) -> pl.Series:
        return pl.Series([v if on else None for v, on in zip(values, among, strict=True)], dtype=pl.String)

    def number(values: Floats, among: NDArray[np.bool_]) -> pl.Series:
        return pl.Series(np.where(among, values, np.nan)).fill_nan(None)

    def word(options: tuple[str, ...], codes: Ints, among: NDArray[np.bool_]) -> pl.Series:
        return text(np.array(options, dtype=object)[codes], among)

    def rating(section: int, among: NDArray[np.bool_]) -> pl.Series:
        value = fleet.rated[:, section]
        return text([f"{v:g}" if v > 0 else "none" for v in value], among)

    made = fleet.installed - rng.integers(20, 260, n)
    install_known = known(np.select([fleet.entry_kind == 1, fleet.entry_kind == 3], [1.0, 0.12], default=0.82))
    year, week = (made.astype("datetime64[D]").astype("datetime64[Y]").astype(int) + 1970) % 100, rng.integers(1, 53, n)
    makes = np.array(words.MAKES, dtype=object)[fleet.make]
    models = [
        f"{m[:2].upper()}{'H' if hp else 'C'}{t * 12:02.0f}-{c}"
        for m, hp, t, c in zip(makes, fleet.heat_pump, fleet.tons, rng.integers(1, 5, n), strict=True)
    ]
    gone = fleet.exit <= as_of
    site_ids = dict(zip(place["site"].to_list(), place["site_id"].to_list(), strict=True))
    registered = fleet.registered & ((fleet.entry_kind == 1) | known(0.5))
    label = known(0.9)
    return pl.DataFrame(
        {
            "unit_id": unit_ids,
            "site_id": [site_ids[s] for s in fleet.site.tolist()],
            "unit_location": text(np.array(LOCATIONS, dtype=object)[rng.integers(0, len(LOCATIONS), n)], known(0.75)),
            "equipment": word(words.EQUIPMENT, fleet.equipment, known(0.97)),
            "make": text(makes, known(0.97)),
            "model": text(models, known(0.94)),
            "serial": text(
                [f"{y:02d}{w:02d}{s:06d}" for y, w, s in zip(year, week, rng.integers(0, 999_999, n), strict=True)],
                known(0.91),
            ),
            "nominal_tons": number(fleet.tons, known(0.95)),
            "refrigerant": word(words.REFRIGERANTS, fleet.refrigerant, known(0.97)),
            "metering": word(words.METERING, fleet.metering, known(0.9)),
            "factory_charge_oz": number(fleet.charge_oz, known(0.8)),
            "target_subcooling_f": number(fleet.target_subcooling, (fleet.metering == words.TXV) & known(0.78)),
            "manufactured_on": _dates(made, known(0.45)),
            "installed_on": _dates(fleet.installed, install_known),
            "installed_by": word(words.INSTALLERS, fleet.installer, known(0.7)),
            "compressor_rla_amps": number(fleet.rla, ~fleet.mini_split & known(0.88)),
            "fan_fla_amps": number(fleet.fla, ~fleet.mini_split & known(0.8)),
            "cap_herm_uf": rating(0, label),
            "cap_fan_uf": rating(1, label),
            "cap_blower_uf": rating(2, known(0.62)),
            "cap_volts": number(fleet.cap_volts, (fleet.rated[:, 0] > 0) & label),
            "cap_tolerance_pct": number(fleet.tolerance, (fleet.rated[:, 0] > 0) & known(0.55)),
            "registered": text(np.where(registered, "yes", "no"), known(0.8)),
            "registered_on": _dates(fleet.installed + rng.integers(2, 60, n), registered & install_known & known(0.8)),
            "parts_warranty_years": number(np.where(registered, 10.0, 5.0), known(0.7)),
            "compressor_warranty_years": number(np.full(n, 10.0), known(0.6)),
            "labor_warranty_years": number(np.full(n, 1.0), (fleet.entry_kind == 1) & known(0.8)),
            "retired_on": _dates(fleet.exit, gone),
            "retired_because": text(fleet.exit_reason, gone & (fleet.exit_reason != None)),  # noqa: E711  elementwise
        }
    ).filter(pl.Series(fleet.entry <= as_of))


def _dates(days: Ints, among: NDArray[np.bool_]) -> pl.Series:
    return pl.Series([int(d) if on else None for d, on in zip(days, among, strict=True)], dtype=pl.Int32).cast(pl.Date)


def _truth(
    fleet: Fleet,
    truth: list[tuple[Ints, Ints, Floats, Floats, Floats]],
    unit_ids: pl.Series,
    visits: pl.DataFrame,
    as_of: int,
) -> tuple[pl.DataFrame, pl.DataFrame]:
    sections, units = [], []
    calls = visits.filter(pl.col("visit_type") == words.NO_COOLING).select("unit", "day")
    call_unit, call_day = calls["unit"].to_numpy(), calls["day"].to_numpy()
    for cutoffs, index, p, drift, draw in truth:
        cutoff = int(cutoffs[0])
        ids = unit_ids.gather(index)
        date = pl.Series([cutoff], dtype=pl.Int32).cast(pl.Date)[0]
        end = cutoff + 1 + int(5 * 30.6)
        called = np.zeros(len(fleet), dtype=bool)
        called[call_unit[(call_day > cutoff) & (call_day <= end)]] = True
        failed = draw < p if cutoff == as_of else called[index]
        units.append(
            pl.DataFrame(
                {
                    "unit_id": ids,
                    "cutoff": pl.Series([date]).new_from_index(0, len(ids)),
                    "p_failure": p,
                    "failed": failed,
                }
            )
        )
        for s, section in enumerate(words.SECTIONS):
            has = fleet.rated[index, s] > 0
            sections.append(
                pl.DataFrame(
                    {
                        "unit_id": ids,
                        "section": pl.Series([section]).new_from_index(0, len(ids)),
                        "cutoff": pl.Series([date]).new_from_index(0, len(ids)),
                        "drift_pct": drift[:, s, 0],
                        "drift_at_season_start_pct": drift[:, s, 1],
                        "drift_at_season_end_pct": drift[:, s, 2],
                    }
                ).filter(pl.Series(has))
            )
    return pl.concat(sections), pl.concat(units)
