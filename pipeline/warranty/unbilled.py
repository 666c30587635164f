"""Parts and refrigerant that a visit shows and nobody was asked to pay for."""

from __future__ import annotations

import polars as pl

UNBILLED_SCHEMA = pl.Schema(
    {
        "unit_id": pl.String,
        "visit_id": pl.String,
        "visit_date": pl.Date,
        "item": pl.String,
        "quantity": pl.Float64,
        "shown_by": pl.String,
        "snippet": pl.String,
        "cost": pl.Float64,
        "invoice_total": pl.Float64,
        "source_file": pl.String,
        "source_line": pl.Int64,
    }
)
"""One row per item; ``shown_by`` says what of the export shows that it was done."""

LEAST_PRICED_SHARE = 0.2
"""Where fewer part rows than this carry a price, the export has no prices to speak of (engineering choice)."""


def not_billed(visits: pl.DataFrame, parts: pl.DataFrame, claims: pl.DataFrame, told: pl.DataFrame) -> pl.DataFrame:
    """Return parts and refrigerant without a price and without a claim.

    Parameters
    ----------
    visits : DataFrame
        unit_id, visit_id, visit_date, visit_type, refrigerant_added_oz, the three ``*_uf_after``, invoice_total,
        source_file, source_line.
    parts : DataFrame
        As ``store.history.parts_of`` gives them.
    claims : DataFrame
        ``claims.CLAIMS_SCHEMA``: a part with a claim, made or still to make, is paid for by the maker.
    told : DataFrame
        unit_id, visit_id, item, quantity, snippet: parts and refrigerant that only a note tells of.

    Returns
    -------
    DataFrame
        ``UNBILLED_SCHEMA``, newest first; empty where the export carries next to no prices.
    """
    priced = parts["price"].is_not_null().mean() if parts.height else None
    if not isinstance(priced, float) or priced < LEAST_PRICED_SHARE:
        return pl.DataFrame(schema=UNBILLED_SCHEMA)
    claimed = claims.filter(pl.col("state").is_in(["to_file", "filed", "credited"])).select(
        "unit_id", "visit_id", "part", "row_n"
    )
    place = ["unit_id", "visit_id"]
    # what goes in at an install is in the price of the install
    visits = visits.filter((pl.col("visit_type") != "install").fill_null(True))
    parts = parts.join(visits.select(place), on=place, how="semi")
    fitted = (
        parts.filter(~(pl.col("price") > 0).fill_null(False))
        .join(claimed, on=[*place, "part", "row_n"], how="anti")
        .join(visits.select(*place, "invoice_total"), on=place, how="left")
        .with_columns(item="part", shown_by=pl.lit("a row of parts without a price"))
    )
    added = (
        visits.filter(pl.col("refrigerant_added_oz") > 0)
        .join(parts.filter(pl.col("part") == "refrigerant"), on=place, how="anti")
        .with_columns(
            item=pl.lit("refrigerant"),
            quantity="refrigerant_added_oz",
            shown_by=pl.lit("refrigerant added on the visit, no row of parts"),
        )
    )
    after = pl.any_horizontal(pl.col(f"{section}_uf_after") > 0 for section in ("herm", "fan", "blower"))
    read = (
        visits.filter(after.fill_null(False))
        .join(parts.filter(pl.col("part") == "run_capacitor"), on=place, how="anti")
        .with_columns(
            item=pl.lit("run_capacitor"),
            quantity=1.0,
            shown_by=pl.lit("a reading of a new capacitor, no row of parts"),
        )
    )
    listed = pl.concat([frame.select(*place, "item") for frame in (added, read)])
    noted = (
        told.join(listed, on=[*place, "item"], how="anti")
        .join(parts.select(*place, item="part"), on=[*place, "item"], how="anti")
        .join(visits, on=place, how="inner")
        .with_columns(shown_by=pl.lit("told in the note only"))
    )
    return pl.concat([_as_rows(frame) for frame in (fitted, added, read, noted)]).sort(
        "visit_date", "unit_id", "visit_id", "item", descending=[True, False, False, False]
    )


def _as_rows(frame: pl.DataFrame) -> pl.DataFrame:
    absent = [pl.lit(None, kind).alias(name) for name, kind in UNBILLED_SCHEMA.items() if name not in frame.columns]
    return frame.with_columns(absent).select(list(UNBILLED_SCHEMA)).cast(UNBILLED_SCHEMA)
