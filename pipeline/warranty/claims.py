"""What became, or may still become, of a claim for each fitted part: state, amount, deadline and what is missing."""

from __future__ import annotations

import datetime as dt

import polars as pl

from pipeline.config import Warranty

CLAIMS_SCHEMA = pl.Schema(
    {
        "claim_id": pl.String,
        "unit_id": pl.String,
        "part": pl.String,
        "section": pl.String,
        "visit_id": pl.String,
        "visit_date": pl.Date,
        "row_n": pl.Int64,
        "covered": pl.Boolean,
        "covered_until": pl.Date,
        "cover_basis": pl.String,
        "state": pl.String,
        "no_claim_because": pl.String,
        "amount": pl.Float64,
        "deadline": pl.Date,
        "claim_to": pl.String,
        "customer_paid": pl.Float64,
        "cost": pl.Float64,
        "claim_amount": pl.Float64,
        "claimed_on": pl.Date,
        "part_make": pl.String,
        "serial_out": pl.String,
        "serial_in": pl.String,
        "reading_pct": pl.Float64,
        "tolerance_pct": pl.Float64,
        "evidence": pl.String,
        "missing": pl.String,
        "note": pl.String,
        "source_file": pl.String,
        "source_line": pl.Int64,
    }
)
"""One row per part fitted, and per weak part to test. ``state`` is null where there is nothing to claim, and
``no_claim_because`` says why; ``covered_until`` is that of the part taken out, or of the weak part in place."""

SETTLED = ("filed", "credited", "denied")


def claims(
    fitted: pl.DataFrame, proof: pl.DataFrame, units: pl.DataFrame, settings: Warranty, as_of: dt.date
) -> pl.DataFrame:
    """Return the claim of each fitted part.

    Parameters
    ----------
    fitted : DataFrame
        ``fitted.taken_out``.
    proof : DataFrame
        ``proof.failed_readings``: visit_id, unit_id, part, reading_pct, tolerance_pct, evidence.
    units : DataFrame
        unit_id, make, serial.
    settings : Warranty
        Allowances, the least amount worth filing.
    as_of : date
        A deadline on this day is still open.

    Returns
    -------
    DataFrame
        ``CLAIMS_SCHEMA``, one row per row of ``fitted``, sorted by unit_id, visit_date, visit_id, part, row_n.

    Notes
    -----
    Amount: what was claimed or credited where the shop says so, else cost plus allowances; never the price. Deadline:
    the end of coverage or of the filing window, whichever comes first.
    """
    rows = (
        fitted.join(units.select("unit_id", unit_make="make", unit_serial="serial"), on="unit_id", how="left")
        .join(proof, on=["unit_id", "visit_id", "part"], how="left")
        .with_columns(status=_status(), worth=_worth(settings), window=_window())
        .with_columns(last_day=pl.min_horizontal("failed_until", "window"))
    )
    judged = rows.with_columns(state=_state(as_of)).with_columns(
        amount=pl.when(pl.col("state").is_in(SETTLED))
        .then(pl.coalesce("claim_amount", "worth"))
        .when(pl.col("state").is_not_null())
        .then(pl.coalesce("worth", "claim_amount"))
    )
    small = (pl.col("amount") < settings.minimum_claim).fill_null(False) & ~pl.col("state").is_in(SETTLED)
    open_state = pl.col("state").is_in(["to_file", "lapsed"])
    return (
        judged.with_columns(
            no_claim_because=pl.when(pl.col("state").is_null())
            .then(pl.col("not_covered_because"))
            .when(small)
            .then(pl.lit("worth less than the least amount to file")),
            state=pl.when(~small).then("state"),
        )
        .with_columns(
            claim_id=pl.format("{}|{}|{}|{}", "unit_id", "visit_id", "part", "row_n"),
            section=pl.lit(None, pl.String),
            covered_until=pl.col("failed_until"),
            cover_basis=pl.col("failed_basis"),
            deadline=pl.when(open_state).then("last_day"),
            claim_to=pl.when(pl.col("state").is_not_null()).then(pl.coalesce("failed_make", "unit_make")),
            customer_paid=pl.when(
                pl.col("covered") & (pl.col("price") > 0) & (pl.col("status") != "denied").fill_null(True)
            ).then("price"),
            missing=_missing(),
            note=_note(),
        )
        .select(list(CLAIMS_SCHEMA))
        .cast(CLAIMS_SCHEMA)
        .sort("unit_id", "visit_date", "visit_id", "part", "row_n")
    )


def _status() -> pl.Expr:
    """The shop's word; a date of filing without one means filed."""
    said = pl.when(pl.col("claim_status") != "none").then("claim_status")
    return pl.coalesce(said, pl.when(pl.col("claimed_on").is_not_null()).then(pl.lit("filed")))


def _worth(settings: Warranty) -> pl.Expr:
    labor_runs = (pl.col("visit_date") <= pl.col("labor_until")).fill_null(False)
    labor = pl.when(labor_runs).then(settings.labor_allowance).otherwise(0.0)
    return pl.col("cost") + labor + settings.handling_allowance


def _window() -> pl.Expr:
    return pl.col("visit_date").dt.offset_by(pl.format("{}d", "filing_days"))


def _state(as_of: dt.date) -> pl.Expr:
    claimable = pl.col("covered") | (pl.col("status") == "to_file").fill_null(False)
    return (
        pl.when(pl.col("status").is_in(SETTLED))
        .then("status")
        .when(claimable & (pl.col("last_day") >= as_of))
        .then(pl.lit("to_file"))
        .when(claimable)
        .then(pl.lit("lapsed"))
    )


def _missing() -> pl.Expr:
    """What a maker asks for and the records do not have."""
    capacitor = pl.col("part") == "run_capacitor"
    inside = capacitor & (pl.col("reading_pct").abs() <= pl.col("tolerance_pct"))
    return _listed(
        pl.when(pl.col("unit_serial").is_null()).then(pl.lit("unit serial")),
        pl.when(pl.col("starts_on").is_null()).then(pl.lit("install date")),
        pl.when(pl.col("serial_out").is_null() & pl.col("failed_serial").is_null()).then(
            pl.lit("serial of the part taken out")
        ),
        pl.when(pl.col("failed_until").is_null()).then(pl.lit("warranty term")),
        pl.when(pl.col("cost").is_null() & pl.col("claim_amount").is_null()).then(pl.lit("cost")),
        pl.when(pl.col("evidence").is_null()).then(pl.lit("a reading or cause that shows the fault")),
        pl.when(inside).then(pl.lit("a reading outside the label tolerance (the one on file is inside)")),
    )


def _note() -> pl.Expr:
    lacking = pl.col("failed_until").is_null()  # an install date or a term: said among what is missing
    early = ~pl.col("covered") & pl.col("state").is_not_null() & pl.col("not_covered_because").is_not_null() & ~lacking
    return _listed(
        pl.col("term_note"),
        pl.when(early).then("not_covered_because"),
        pl.when(pl.col("claim_status").is_null() & pl.col("claimed_on").is_not_null()).then(
            pl.lit("a date of filing but no state of the claim: taken as filed")
        ),
        pl.when(pl.col("claim_amount").is_not_null() & pl.col("status").is_null()).then(
            pl.lit("a claim amount but no state of the claim: see whether it was filed")
        ),
    )


def _listed(*parts: pl.Expr) -> pl.Expr:
    return pl.concat_str(*parts, separator="; ", ignore_nulls=True).replace("", None)
