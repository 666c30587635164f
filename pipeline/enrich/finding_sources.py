"""Where findings come from and what puts them right, as frames of one shape each."""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from pipeline.enrich.capacitor_ratings import NEAREST
from pipeline.enrich.finding_kinds import History, Kind

SECTION_FINDINGS = {"herm": "weak_hermetic_section", "fan": "weak_fan_section", "blower": "weak_blower_section"}
SECTION_WORDS = {"herm": "hermetic section", "fan": "fan section", "blower": "blower capacitor"}
READABLE = ("charge_low", "charge_high", "flood_back", "airflow_doubtful", *SECTION_FINDINGS.values())
"""Findings that a later reading can show to be put right."""
SURE = 0.8
"""A verdict counts as a finding from this probability on."""
DAYS_HELD = 365
"""A charge that has held so long after a top-up is taken as put right (engineering choice)."""
FOUND = ("unit_id", "finding", "found_on", "visit_id", "evidence")
PUT_RIGHT = ("unit_id", "finding", "resolved_on", "resolved_by")


def found_rows(history: History, kinds: Mapping[str, Kind]) -> pl.DataFrame:
    """Return unit_id, finding, found_on, visit_id, evidence: everything that was found, at each visit that found it."""
    sources = [_weak_sections(history), _charge(history), _flood_back(history), _airflow(history)]
    sources += [_leaks(history), _top_ups(history), _observations(history, kinds)]
    return pl.concat([frame.rename({"visit_date": "found_on"}).select(FOUND) for frame in sources])


def put_right_rows(history: History, kinds: Mapping[str, Kind]) -> pl.DataFrame:
    """Return unit_id, finding, resolved_on, resolved_by: everything that puts a finding of that name right."""
    by_part = pl.DataFrame(
        [(p, k.finding) for k in kinds.values() for p in k.parts], schema=["part", "finding"], orient="row"
    )
    parts = history.parts.join(by_part, on="part").with_columns(resolved_by=_words("part") + " fitted")
    sources = [parts, _sections_closed(history), _section_in_tolerance(history), _charge_changed(history)]
    sources += [_read_in_order(history), _charge_held(history), _searched(history), _no_longer_seen(history, kinds)]
    return pl.concat([frame.rename({"visit_date": "resolved_on"}).select(PUT_RIGHT) for frame in sources])


def good_readings(history: History) -> pl.DataFrame:
    """Return unit_id, finding, on: readings in order, each named after the findings that it speaks against."""
    charge = _read_in_order(history).select("unit_id", "finding", on="visit_date")
    tolerable = history.capacitor_readings.filter(~pl.col("out_of_tolerance") & pl.col("suspect").is_null())
    sections = tolerable.select(
        "unit_id", pl.col("section").replace(SECTION_FINDINGS).alias("finding"), on="visit_date"
    )
    return pl.concat([charge, sections])


def add_advice(findings: pl.DataFrame, recommendations: pl.DataFrame, kinds: Mapping[str, Kind]) -> pl.DataFrame:
    """Add decision and decided_on: the latest on a recommendation that speaks of the finding, given while open."""
    speaks = pl.DataFrame(
        [(k.finding, word) for k in kinds.values() for word in (*k.words, *k.parts)],
        schema=["finding", "word"],
        orient="row",
    )
    item = pl.col("item").str.to_lowercase().str.replace_all(r"[\s\-]+", "_")
    advice = recommendations.filter(pl.col("decision").is_not_null()).select(
        "unit_id", "decision", _item=item, given_on="visit_date", _decided=pl.coalesce("decided_on", "visit_date")
    )
    matched = (
        findings.select("unit_id", "finding", "found_on", "resolved_on")
        .join(advice, on="unit_id")
        .filter(
            (pl.col("given_on") >= pl.col("found_on")) & (pl.col("given_on") <= pl.col("resolved_on")).fill_null(True)
        )
        .join(speaks, on="finding")
        .filter(pl.col("_item").str.contains(pl.col("word"), literal=True))
        .sort("given_on", "_decided")
        .group_by("unit_id", "finding", "found_on", maintain_order=True)
        .agg(pl.col("decision").last(), decided_on=pl.col("_decided").last())
    )
    return findings.join(matched, on=["unit_id", "finding", "found_on"], how="left")


def _weak_sections(history: History) -> pl.DataFrame:
    weak = (
        pl.col("out_of_tolerance")
        & (pl.col("drift_pct") < 0)
        & pl.col("suspect").is_null()
        & ~pl.col("is_new_part").fill_null(False)
    )
    guessed = pl.when(pl.col("rated_source") == NEAREST).then(pl.lit(", size guessed")).otherwise(pl.lit(""))
    evidence = pl.format(
        "{} {} of {} uF, {} %{}", pl.col("section").replace(SECTION_WORDS), pl.col("measured_uf").round(2), "rated_uf",
        pl.col("drift_pct").round(1), guessed,
    )  # fmt: skip
    return history.capacitor_readings.filter(weak).with_columns(
        finding=pl.col("section").replace(SECTION_FINDINGS), evidence=evidence
    )


def _charge(history: History) -> pl.DataFrame:
    sure = pl.max_horizontal("p_charge_low", "p_charge_high") >= SURE
    rows = history.charge_readings.filter(
        pl.col("charge_verdict").is_in(["low", "high"]) & ~pl.col("borderline") & sure & pl.col("suspect").is_null()
    )
    orifice = pl.format(
        "superheat {} against a target of {} degF", pl.col("superheat_f").round(1),
        pl.coalesce("target_superheat_f", "highest_target_f").round(1),
    )  # fmt: skip
    valve = pl.format(
        "subcooling {} against a target of {} degF",
        pl.col("subcooling_f").round(1),
        pl.col("target_subcooling_f").round(1),
    )
    measured = pl.when(pl.col("metering") == "fixed_orifice").then(orifice).otherwise(valve)
    meaning = (
        pl.when(pl.col("charge_verdict") == "low").then(pl.lit(": low charge or a restriction")).otherwise(pl.lit(""))
    )
    return rows.with_columns(finding=pl.lit("charge_") + pl.col("charge_verdict"), evidence=measured + meaning)


def _flood_back(history: History) -> pl.DataFrame:
    evidence = pl.format("superheat {} degF: liquid may reach the compressor", pl.col("superheat_f").round(1))
    return history.charge_readings.filter("flood_back").with_columns(finding=pl.lit("flood_back"), evidence=evidence)


def _airflow(history: History) -> pl.DataFrame:
    """Airflow measured low, static pressure high, or readings that fit low airflow (dirt and ice stand alone)."""
    measured = pl.col("airflow_because").str.contains_any(["measured airflow low", "static pressure high"])
    fits = (pl.col("likely_fault") == "low_indoor_airflow") & (pl.col("p_fault") >= SURE)
    because = pl.when(fits).then("fault_because").otherwise("airflow_because")
    rows = history.charge_readings.filter((measured.fill_null(False) | fits) & (pl.col("mode") == "cooling"))
    return rows.with_columns(finding=pl.lit("airflow_doubtful"), evidence=because)


def _leaks(history: History) -> pl.DataFrame:
    rows = history.visits.filter(pl.col("leak_found").is_in(["yes", "suspected"]))
    found = pl.when(pl.col("leak_found") == "yes").then(pl.lit("leak found")).otherwise(pl.lit("leak suspected"))
    return rows.with_columns(finding=pl.lit("leak_found"), evidence=found)


def _top_ups(history: History) -> pl.DataFrame:
    ounces = pl.col("net_oz").round(1).cast(pl.String).str.strip_suffix(".0")
    evidence = pl.format("{} oz topped up", ounces)
    rows = history.ledger.filter(pl.col("kind") == "top_up")
    return rows.with_columns(finding=pl.lit("topped_up_without_repair"), evidence=evidence)


def _observations(history: History, kinds: Mapping[str, Kind]) -> pl.DataFrame:
    by_word = {k.seen: k.finding for k in kinds.values() if k.seen is not None}
    seen = history.visits.select(
        "unit_id", "visit_id", "visit_date", pl.col("observations").str.split(";").alias("finding")
    ).explode("finding")
    named = seen.with_columns(pl.col("finding").str.strip_chars()).filter(pl.col("finding").is_in(list(by_word)))
    return named.with_columns(pl.col("finding").replace(by_word), evidence=_words("finding") + " seen")


def _sections_closed(history: History) -> pl.DataFrame:
    closed = history.capacitor_series.filter(pl.col("ended_on").is_not_null())
    how = (
        pl.when(pl.col("end_kind") == "inferred")
        .then(pl.lit("a new part, by its readings"))
        .otherwise(pl.lit("run capacitor fitted"))
    )
    return closed.with_columns(
        finding=pl.col("section").replace(SECTION_FINDINGS), visit_date=pl.col("ended_on"), resolved_by=how
    )


def _section_in_tolerance(history: History) -> pl.DataFrame:
    fine = ~pl.col("out_of_tolerance") & pl.col("suspect").is_null() & ~pl.col("is_new_part").fill_null(False)
    return history.capacitor_readings.filter(fine).with_columns(
        finding=pl.col("section").replace(SECTION_FINDINGS), resolved_by=pl.lit("a later reading is in tolerance")
    )


def _charge_changed(history: History) -> pl.DataFrame:
    added = history.ledger.filter(pl.col("net_oz") > 0).with_columns(
        finding=pl.lit("charge_low"), resolved_by=pl.lit("refrigerant added")
    )
    taken = history.ledger.filter(pl.col("recovered_oz") > pl.col("added_oz")).with_columns(
        finding=pl.lit("charge_high"), resolved_by=pl.lit("refrigerant recovered")
    )
    return pl.concat([added, taken])


def _read_in_order(history: History) -> pl.DataFrame:
    """Readings of charge, superheat and airflow that are in order, named after the findings that they end."""
    rows = history.charge_readings
    within = rows.filter(pl.col("charge_verdict") == "within")
    ends = [
        within.with_columns(finding=pl.lit(name), resolved_by=pl.lit("a later reading is within its band"))
        for name in ("charge_low", "charge_high")
    ]
    ends.append(
        rows.filter(
            ~pl.col("flood_back") & (pl.col("mode") == "cooling") & pl.col("superheat_f").is_not_null()
        ).with_columns(finding=pl.lit("flood_back"), resolved_by=pl.lit("a later superheat is safe"))
    )
    ends.append(
        rows.filter(pl.col("airflow") == "shown").with_columns(
            finding=pl.lit("airflow_doubtful"), resolved_by=pl.lit("airflow shown to be in order")
        )
    )
    return pl.concat(ends)


def _charge_held(history: History) -> pl.DataFrame:
    """Readings within their band a year or more after the last top-up: what leaks does not hold that long."""
    last = history.ledger.filter(pl.col("kind") == "top_up").select("unit_id", topped_up_on="visit_date")
    within = history.charge_readings.filter(pl.col("charge_verdict") == "within").sort("visit_date")
    held = within.join_asof(
        last.sort("topped_up_on"), left_on="visit_date", right_on="topped_up_on", by="unit_id", check_sortedness=False
    ).filter((pl.col("visit_date") - pl.col("topped_up_on")).dt.total_days() >= DAYS_HELD)
    return held.with_columns(
        finding=pl.lit("topped_up_without_repair"), resolved_by=pl.lit("charge within its band a year after the top-up")
    )


def _searched(history: History) -> pl.DataFrame:
    return history.visits.filter(pl.col("leak_found") == "no").with_columns(
        finding=pl.lit("leak_found"), resolved_by=pl.lit("a later search found no leak")
    )


def _no_longer_seen(history: History, kinds: Mapping[str, Kind]) -> pl.DataFrame:
    """Visits that say what was seen, or looked the unit over, without naming what clears by itself."""
    looked = history.visits.filter(
        pl.col("observations").is_not_null() | pl.col("visit_type").is_in(["maintenance", "inspection"])
    )
    frames = [
        looked.filter(~pl.col("observations").fill_null("").str.contains(k.seen, literal=True)).with_columns(
            finding=pl.lit(k.finding), resolved_by=pl.lit("not seen on a later visit")
        )
        for k in kinds.values()
        if k.clears and k.seen is not None
    ]
    return pl.concat(frames)


def _words(column: str) -> pl.Expr:
    return pl.col(column).str.replace_all("_", " ")
