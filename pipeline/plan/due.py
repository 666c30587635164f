"""Who is due, why, what it is worth to go before the season, and how long it takes."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import polars as pl

from pipeline.config import Settings

DUE_SCHEMA = pl.Schema(
    {
        "unit_id": pl.String(),
        "site_id": pl.String(),
        "reasons": pl.String(),
        "work": pl.String(),
        "service_minutes": pl.Float64(),
        "value": pl.Float64(),
        "required": pl.Boolean(),
        "earliest": pl.Date(),
        "latest": pl.Date(),
        "words": pl.List(pl.String()),
    }
)
"""One row per unit that is due, sorted by unit_id; ``words`` are what a skill may name."""

WORKS = ("tune_up", "capacitor", "charge_check", "repair", "look", "warranty_test", "re_measure", "booked")
"""Kinds of work, in the order they are named; service minutes of each are in the settings."""

FINDING_WORK = {
    "weak_hermetic_section": "capacitor",
    "weak_fan_section": "capacitor",
    "weak_blower_section": "capacitor",
    "swollen_capacitor": "capacitor",
    "charge_low": "charge_check",
    "charge_high": "charge_check",
    "flood_back": "charge_check",
    "topped_up_without_repair": "charge_check",
    "leak_found": "repair",
    "oil_stain": "repair",
    "pitted_contactor": "repair",
    "corroded_coil": "repair",
    "dirty_filter": "tune_up",
    "dirty_coil": "tune_up",
    "iced_coil": "tune_up",
}
CAUSE_WORK = {"run_capacitor": "capacitor", "refrigerant_leak": "charge_check", "metering_device": "charge_check"}
"""Work by finding and by leading cause (common practice, no source); anything else is a look."""
SPRING_VISITS = ("maintenance", "inspection", "install")
DRIFT_UNSURE_PCT = 5.0
"""A drift known no better than this (one standard deviation) is thin data (engineering choice)."""

_ROW = pl.Schema(
    {
        "unit_id": pl.String(),
        "place": pl.Int64(),
        "reason": pl.String(),
        "work": pl.String(),
        "extra": pl.Float64(),
        "required": pl.Boolean(),
        "earliest": pl.Date(),
        "latest": pl.Date(),
        "alone": pl.Boolean(),
    }
)


@dataclass(frozen=True)
class Known:
    """What the store knows of the units, as far as the round needs it.

    risk (active units): unit_id, p_failure, prevention_share, flagged, leading_reason, last_visit_on. units: unit_id,
    site_id, refrigerant, equipment. sites: site_id, agreement, and what their places need. findings (open ones):
    unit_id, finding, found_on, decision. sections: unit_id, section,
    p_out_by_season_end, basis, drift_sd_pct, last_reading_on.
    warranty: unit_id, part, section, state, amount, deadline. visits: unit_id, visit_date, visit_type, outdoor_db_f.
    """

    risk: pl.DataFrame
    units: pl.DataFrame
    sites: pl.DataFrame
    findings: pl.DataFrame
    sections: pl.DataFrame
    warranty: pl.DataFrame
    visits: pl.DataFrame
    as_of: dt.date
    season_start: dt.date


def due_units(
    known: Known, settings: Settings, first: dt.date, last: dt.date, warm_from: dt.date | None, booked: pl.DataFrame
) -> pl.DataFrame:
    """Return every unit with a reason to go between ``first`` and ``last`` (``DUE_SCHEMA``).

    Parameters
    ----------
    known
        Frames of the store.
    settings
        Values and service times.
    first, last
        Days of the round.
    warm_from
        First day on which a charge can be judged; None is any day.
    booked
        unit_id of appointments: due whatever else is known.

    Notes
    -----
    Value = p_failure × share a stop prevents × (emergency call + goodwill + overtime), and on top the expected cost of
    an agreement visit missed and of a warranty claim lost. Agreement visits are required where the round runs up to
    the season; in a round of earlier weeks they count by their value. Amounts are the owner's guesses.
    """
    until_season = last >= known.season_start - dt.timedelta(days=7)
    rows = pl.concat(
        [
            _flagged(known, warm_from),
            _agreement(known, settings, until_season),
            _findings(known, settings, warm_from),
            _warranty(known, first),
            _re_measure(known, settings),
            _of(booked, place=5, reason=pl.lit("appointment"), work=pl.lit("booked")),
        ]
    ).join(known.risk.select("unit_id"), on="unit_id", how="semi")
    due = rows.filter(pl.col("alone").any().over("unit_id"))
    # a day warm enough must still lie in the round, else the charge is checked as well as the weather allows
    too_late = pl.col("earliest") > pl.min_horizontal(pl.col("latest"), pl.lit(last))
    due = due.with_columns(
        earliest=pl.when(~too_late.fill_null(False)).then(pl.when(pl.col("earliest") > first).then("earliest")),
        # what else is to be done explains an appointment better than the word
        work=pl.when((pl.col("work") != "booked") | (pl.len().over("unit_id") == 1)).then("work"),
    )
    minutes = pl.DataFrame(
        {"work": list(WORKS), "minutes": [float(getattr(settings.plan, f"minutes_{work}")) for work in WORKS]}
    )
    grouped = (
        due.join(minutes, on="work", how="left")
        .sort("unit_id", "place", "reason")
        .group_by("unit_id", maintain_order=True)
        .agg(
            reasons=pl.col("reason").unique(maintain_order=True).str.join("; "),
            works=pl.col("work").drop_nulls().unique(maintain_order=True),
            longest=pl.col("minutes").max(),
            extra=pl.col("extra").sum(),
            required=pl.col("required").any(),
            earliest=pl.col("earliest").max(),
            latest=pl.col("latest").min(),
        )
    )
    costs = settings.costs.emergency_call + settings.plan.goodwill + settings.plan.overtime
    further = (pl.col("works").list.len() - 1).cast(pl.Float64) * settings.plan.minutes_further_work
    worded = ("refrigerant", "equipment")
    return (
        grouped.join(known.risk.select("unit_id", "p_failure", "prevention_share"), on="unit_id", how="left")
        .join(known.units.select("unit_id", "site_id", *worded), on="unit_id", how="left")
        .select(
            "unit_id",
            "site_id",
            "reasons",
            work=pl.col("works").list.join("; "),
            service_minutes=pl.col("longest") + further,
            value=(pl.col("p_failure") * pl.col("prevention_share")).fill_null(0.0) * costs + pl.col("extra"),
            required="required",
            earliest="earliest",
            latest="latest",
            words=pl.concat_list(
                pl.concat_list(worded).list.drop_nulls().list.eval(pl.element().str.to_lowercase()), "works"
            ),
        )
        .cast(DUE_SCHEMA)
        .sort("unit_id")
    )


WARM_F = 65.0
"""Outdoor temperature from which charge is usually checked, degrees Fahrenheit (common practice, no source)."""
FEWEST_READINGS = 5
"""Readings of a half month needed to say whether it is warm (engineering choice)."""


def warm_from(visits: pl.DataFrame, season_start: dt.date, month_day: str) -> dt.date | None:
    """Return the first day before the season that is warm enough to check charge; None if any day is.

    ``month_day`` is the setting; where blank, the half month of the spring from which on at least half of the shop's
    own readings (``visits``: visit_date, outdoor_db_f) were taken at 65 degrees Fahrenheit or more.
    """
    if month_day:
        on = dt.date.fromisoformat(f"{season_start.year}-{month_day}")
        return on if on <= season_start else on.replace(year=on.year - 1)
    spring = season_start - dt.timedelta(days=120)
    halves = [spring + dt.timedelta(days=15 * n) for n in range(9)]
    days = pl.DataFrame({"half": range(len(halves))}).with_columns(pl.col("half").cast(pl.Int64))
    since = ((pl.col("visit_date").dt.ordinal_day().cast(pl.Int64) - spring.timetuple().tm_yday) % 365 // 15).alias(
        "half"
    )
    warm = (
        visits.filter(pl.col("outdoor_db_f").is_not_null())
        .group_by(since)
        .agg(share=(pl.col("outdoor_db_f") >= WARM_F).mean(), n=pl.len())
        .filter(pl.col("n") >= FEWEST_READINGS)
    )
    known = days.join(warm, on="half", how="inner").sort("half")
    cold = known.filter(pl.col("share") < 0.5)["half"]
    if known.is_empty() or cold.is_empty():
        return None
    first = int(cold.max()) + 1  # type: ignore[arg-type]
    return halves[first] if first < len(halves) else season_start


def _of(frame: pl.DataFrame, place: int, reason: pl.Expr, work: pl.Expr, **columns: pl.Expr) -> pl.DataFrame:
    """Return rows of reasons; what is not said is nothing extra, not required, any day, a reason by itself."""
    blank = {
        "extra": pl.lit(0.0),
        "required": pl.lit(False),
        "earliest": pl.lit(None),
        "latest": pl.lit(None),
        "alone": pl.lit(True),
    }
    made = {"unit_id": pl.col("unit_id"), "place": pl.lit(place), "reason": reason, "work": work} | blank | columns
    return frame.select(**{name: made[name].cast(kind) for name, kind in _ROW.items()})


def _flagged(known: Known, warm: dt.date | None) -> pl.DataFrame:
    cause = pl.col("leading_reason").str.extract(r"^(\w+):?", 1)
    work = cause.replace_strict(CAUSE_WORK, default="look", return_dtype=pl.String).fill_null("look")
    return _of(
        known.risk.filter(pl.col("flagged").fill_null(False)),
        place=0,
        reason=pl.col("leading_reason").fill_null("chance of failing among the highest"),
        work=work,
        earliest=pl.when(work == "charge_check").then(pl.lit(warm)),
    )


def _agreement(known: Known, settings: Settings, until_season: bool) -> pl.DataFrame:
    spring = known.season_start - dt.timedelta(days=settings.plan.spring_days)
    kept = pl.col("visit_type").is_in(SPRING_VISITS)
    done = known.visits.filter(kept & (pl.col("visit_date") >= spring)).select("unit_id").unique()
    last = known.visits.filter(kept).group_by("unit_id").agg(last_on=pl.col("visit_date").max())
    under = known.sites.filter(pl.col("agreement") == "yes").select("site_id")
    units = known.units.join(under, on="site_id", how="semi").join(done, on="unit_id", how="anti")
    seen = (
        pl.when(pl.col("last_on").is_null())
        .then(pl.lit("none on record"))
        .otherwise(pl.format("last one on {}", "last_on"))
    )
    return _of(
        units.join(last, on="unit_id", how="left"),
        place=2,
        reason=pl.format("agreement visit of this spring, {}", seen),
        work=pl.lit("tune_up"),
        extra=pl.lit(settings.plan.agreement_missed),
        required=pl.lit(until_season),
    )


def _findings(known: Known, settings: Settings, warm: dt.date | None) -> pl.DataFrame:
    work = pl.col("finding").replace_strict(FINDING_WORK, default="look", return_dtype=pl.String)
    recent = pl.col("found_on").dt.offset_by(f"{settings.plan.finding_months}mo") >= known.as_of
    decided = pl.col("decision").is_in(["approved", "later", "waiting_for_part"])
    said = (
        pl.when(pl.col("decision").is_null())
        .then(pl.lit(""))
        .otherwise(pl.format(", customer said {}", pl.col("decision").str.replace_all("_", " ")))
    )
    return _of(
        known.findings.filter(pl.col("decision").fill_null("") != "declined"),
        place=1,
        reason=pl.format(
            "{} found on {}, not put right{}",
            pl.col("finding").str.replace_all("_", " ").str.strip_suffix(" found"),
            "found_on",
            said,
        ),
        work=work,
        earliest=pl.when(work == "charge_check").then(pl.lit(warm)),
        alone=(recent | decided).fill_null(False),
    )


def _warranty(known: Known, first: dt.date) -> pl.DataFrame:
    part = pl.col("part").str.replace_all("_", " ")
    named = pl.when(pl.col("section").is_null()).then(part).otherwise(pl.format("{} ({} section)", part, "section"))
    return _of(
        known.warranty.filter((pl.col("state") == "test_before_lapse") & (pl.col("deadline") >= first)),
        place=3,
        reason=pl.format("{}: test before its warranty ends on {}", named, "deadline"),
        work=pl.lit("warranty_test"),
        extra=pl.col("amount").fill_null(0.0),
        latest=pl.col("deadline"),
    )


def _re_measure(known: Known, settings: Settings) -> pl.DataFrame:
    old = pl.col("last_reading_on").dt.offset_by(f"{settings.plan.re_measure_months}mo") < known.as_of
    thin = (pl.col("basis") != "readings") | old.fill_null(True) | (pl.col("drift_sd_pct") >= DRIFT_UNSURE_PCT)
    likely = pl.col("p_out_by_season_end") >= settings.plan.re_measure_chance
    in_care = pl.col("last_visit_on").dt.offset_by(f"{settings.units.unseen_months}mo") >= known.as_of
    unflagged = known.risk.filter(~pl.col("flagged").fill_null(False) & in_care.fill_null(False))
    read = (
        pl.when(pl.col("last_reading_on").is_null())
        .then(pl.lit("never read"))
        .otherwise(pl.format("last read on {}", "last_reading_on"))
    )
    chance = (pl.col("p_out_by_season_end") * 100).round(0).cast(pl.Int64)
    return _of(
        known.sections.filter(thin & likely)
        .join(unflagged.select("unit_id"), on="unit_id", how="semi")
        .sort("unit_id", "p_out_by_season_end", "section", descending=[False, True, False])
        .unique("unit_id", keep="first", maintain_order=True),
        place=4,
        reason=pl.format(
            "measure again: {} section {}, {} % chance of being out by the season's end", "section", read, chance
        ),
        work=pl.lit("re_measure"),
    )
