"""Why a unit stands above the fleet, in trade words: the reading, the limit and the visit it came from."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.forecast.history import History
from pipeline.forecast.sections_inputs import GUESSED_SOURCE
from pipeline.forecast.units_additive import COMPONENTS
from pipeline.forecast.units_features import WARNINGS, UnitFeatures

Floats = npt.NDArray[np.float64]

SECTION_NAMES = {"herm": "hermetic section", "fan": "fan section", "blower": "blower capacitor"}
WARNING_CAUSES = {
    "pitted_contactor": ("contactor", "pitted contactor seen"),
    "noisy_compressor": ("compressor", "noisy compressor heard"),
    "oil_stain": ("refrigerant_leak", "oil stain seen"),
    "swollen_capacitor": ("run_capacitor", "swollen capacitor seen"),
    "vibration": ("other", "vibration noted"),
    "hard_start_kit": ("compressor", "hard-start kit fitted"),
}
WORTH_NAMING = 0.15
"""A hazard is named where it lies above the fleet's mean by this share of the unit's whole hazard."""
SUPERHEAT_LIMIT_F, SUBCOOLING_LIMIT_F = 5.0, 3.0
"""Where a fixed orifice, a TXV or EEV counts as low on charge (contract's bands)."""
BEYOND_A_LIMIT = 1.005 * WORTH_NAMING
MOST_REASONS = 5
WORSE_BY_PCT = 2.0
"""How far the expected drift must lie below the last reading to be told beside it."""


def reasons(history: History, x: UnitFeatures, hazards: Floats, sections: pl.DataFrame) -> pl.DataFrame:
    """Return unit_id, leading_reason and reasons (joined by "; "), strongest first.

    Parameters
    ----------
    history
        Tidy frames, cut at the day of the forecast.
    x, hazards
        Features and hazards by component, aligned.
    sections
        The section forecasts of the same day.
    """
    excess = (hazards - hazards.mean(axis=0)) / np.maximum(hazards.sum(axis=1, keepdims=True), 1e-12)
    scores = x.frame.select("unit_id").with_columns(
        *(pl.Series(f"s_{c}", excess[:, i]) for i, c in enumerate(COMPONENTS)),
        age=pl.Series(x.numbers["age"]),
        age_known=x.frame["age_known"],
        earlier=pl.Series(x.numbers["earlier_failures"]),
    )
    base = "s_base"
    texts = pl.concat(
        [
            _capacitor(history, sections, scores),
            _charge(history, scores),
            _added(history, scores),
            _load(history, scores),
            _warned(history, scores),
            _older(scores.filter(pl.col(base) > 0)),
        ]
    )
    chosen = (
        texts.filter((pl.col("score") > WORTH_NAMING) & pl.col("text").is_not_null())
        .sort(["unit_id", "score", "text"], descending=[False, True, False])
        .group_by("unit_id", maintain_order=True)
        .agg(pl.col("text").head(MOST_REASONS))
        .with_columns(leading_reason=pl.col("text").list.first(), reasons=pl.col("text").list.join("; "))
        .drop("text")
    )
    nothing = "other: nothing on record stands out from the fleet"
    return (
        scores.select("unit_id")
        .join(chosen, on="unit_id", how="left", maintain_order="left")
        .with_columns(pl.col("leading_reason", "reasons").fill_null(nothing))
    )


def _capacitor(history: History, sections: pl.DataFrame, scores: pl.DataFrame) -> pl.DataFrame:
    latest = (
        history.cap_readings.filter(pl.col("drift_pct").is_finite() & pl.col("suspect").is_null())
        .sort("unit_id", "section", "series", "visit_date", "visit_id")
        .group_by("unit_id", "section", "series", maintain_order=True)
        .agg(
            pl.col("visit_date", "measured_uf", "rated_uf", "rated_source", "method").last(),
            read_pct=pl.col("drift_pct").last(),
        )
    )
    name = pl.col("section").replace_strict(SECTION_NAMES, default=pl.col("section"))
    load = pl.when(pl.col("method") == "under_load").then(pl.lit(" under load")).otherwise(pl.lit(""))
    guessed = pl.when(pl.col("rated_source") == GUESSED_SOURCE).then(pl.lit(", a guessed size")).otherwise(pl.lit(""))
    # a worn part is told by its reading; where the years since add to it, by what is expected too
    worse = pl.col("drift_at_season_end_pct") < pl.col("read_pct") - WORSE_BY_PCT
    ahead = (
        pl.when(worse)
        .then(pl.format(", expected near {} % by {}", _signed(pl.col("drift_at_season_end_pct")), pl.col("season_end")))
        .otherwise(pl.lit(""))
    )
    # a whole number would hide that the reading lies just beyond its limit
    beyond = pl.col("read_pct") < -pl.col("tolerance_pct")
    hidden = beyond & (pl.col("read_pct").round(0) == -pl.col("tolerance_pct"))
    drift = pl.when(hidden).then(_short(pl.col("read_pct"), 1)).otherwise(_signed(pl.col("read_pct")))
    read = pl.format(
        "run_capacitor: {} read {} of {} uF{}{} ({} %) on {}, limit -{} %{}",
        name,
        _short(pl.col("measured_uf"), 1),
        _short(pl.col("rated_uf"), 1),
        guessed,
        load,
        drift,
        pl.col("visit_date"),
        _short(pl.col("tolerance_pct"), 1),
        ahead,
    )
    unread = pl.format(
        "run_capacitor: {} has no usable reading on this part; {} % odds of being out by {}, judged by age",
        name,
        _odds_pct(pl.col("p_out_by_season_end")),
        pl.col("season_end"),
    )
    long = scores.select("unit_id", herm="s_herm", fan="s_fan").unpivot(
        index="unit_id", variable_name="section", value_name="score"
    )
    return (
        sections.join(long, on=["unit_id", "section"], how="inner")
        .join(latest, on=["unit_id", "section", "series"], how="left")
        .select(
            "unit_id",
            score=_at_least_named("score", beyond),
            text=pl.when(pl.col("measured_uf").is_not_null()).then(read).otherwise(unread),
        )
    )


def _charge(history: History, scores: pl.DataFrame) -> pl.DataFrame:
    latest = (
        history.charge.filter(pl.col("leak_loss_f").is_finite())
        .group_by("unit_id", maintain_order=True)
        .agg(pl.col("visit_date", "leak_loss_f", "superheat_deviation_f", "subcooling_deviation_f").last())
        .filter(pl.col("leak_loss_f") > 0)
    )
    # the sign convention says which of the two the loss was taken from
    superheat = (pl.col("superheat_deviation_f") - pl.col("leak_loss_f")).abs() < 0.01
    text = (
        pl.when(superheat.fill_null(False))
        .then(
            pl.format(
                f"refrigerant_leak: superheat {{}} degF over target on {{}}, limit {SUPERHEAT_LIMIT_F:g} degF",
                _short(pl.col("leak_loss_f"), 1),
                pl.col("visit_date"),
            )
        )
        .otherwise(
            pl.format(
                f"refrigerant_leak: subcooling {{}} degF under target on {{}}, limit {SUBCOOLING_LIMIT_F:g} degF",
                _short(pl.col("leak_loss_f"), 1),
                pl.col("visit_date"),
            )
        )
    )
    beyond = pl.col("leak_loss_f") > pl.when(superheat.fill_null(False)).then(SUPERHEAT_LIMIT_F).otherwise(
        SUBCOOLING_LIMIT_F
    )
    return latest.join(scores, on="unit_id", how="inner").select(
        "unit_id", score=_at_least_named("s_charge", beyond), text=text
    )


def _added(history: History, scores: pl.DataFrame) -> pl.DataFrame:
    latest = (
        history.visits.filter(pl.col("refrigerant_added_oz") > 0)
        .group_by("unit_id", maintain_order=True)
        .agg(pl.col("visit_date", "refrigerant_added_oz").last(), times=pl.len())
    )
    text = pl.format(
        "refrigerant_leak: {} oz added on {}, {} on record; a tight system needs none",
        _short(pl.col("refrigerant_added_oz"), 1),
        pl.col("visit_date"),
        pl.when(pl.col("times") == 1).then(pl.lit("one addition")).otherwise(pl.format("{} additions", "times")),
    )
    return latest.join(scores, on="unit_id", how="inner").select("unit_id", score="s_added", text=text)


def _load(history: History, scores: pl.DataFrame) -> pl.DataFrame:
    latest = (
        history.visits.filter(pl.col("compressor_amps") > 0)
        .group_by("unit_id", maintain_order=True)
        .agg(pl.col("visit_date", "compressor_amps").last())
        .join(
            history.units.select("unit_id", "compressor_rla_amps").filter(pl.col("compressor_rla_amps") > 0),
            on="unit_id",
            how="inner",
        )
    )
    text = pl.format(
        "compressor: drew {} A of {} A rated load on {}",
        _short(pl.col("compressor_amps"), 1),
        _short(pl.col("compressor_rla_amps"), 1),
        pl.col("visit_date"),
    )
    beyond = pl.col("compressor_amps") > pl.col("compressor_rla_amps")
    return latest.join(scores, on="unit_id", how="inner").select(
        "unit_id", score=_at_least_named("s_compressor", beyond), text=text
    )


def _warned(history: History, scores: pl.DataFrame) -> pl.DataFrame:
    latest = (
        history.visits.filter(pl.col("observations").is_not_null())
        .group_by("unit_id", maintain_order=True)
        .agg(pl.col("visit_date", "observations").last())
        .join(scores, on="unit_id", how="inner")
    )
    frames = [
        latest.filter(pl.col("observations").str.contains(word, literal=True)).select(
            "unit_id",
            score=pl.lit(WORTH_NAMING * (1.01 + 0.01 * (len(WARNINGS) - i))),
            text=pl.format(
                "{}: {} on {}", pl.lit(WARNING_CAUSES[word][0]), pl.lit(WARNING_CAUSES[word][1]), "visit_date"
            ),
        )
        for i, word in enumerate(WARNINGS)
    ]
    return pl.concat(frames)


def _older(scores: pl.DataFrame) -> pl.DataFrame:
    years_old = pl.col("age").round(0).cast(pl.Int64)
    calls = (
        pl.when(pl.col("earlier") == 1)
        .then(pl.lit(", 1 other no-cooling call in 3 years"))
        .when(pl.col("earlier") > 0)
        .then(pl.format(", {} other no-cooling calls in 3 years", pl.col("earlier").cast(pl.Int64)))
        .otherwise(pl.lit(""))
    )
    text = (
        pl.when("age_known")
        .then(pl.format("other: {} years old{}", years_old, calls))
        .otherwise(pl.format("other: age not known, taken as {} years{}", years_old, calls))
    )
    return scores.select("unit_id", score="s_base", text=text)


def _at_least_named(score: str, beyond: pl.Expr) -> pl.Expr:
    """Lift the score of evidence that lies beyond its limit so that it is named, if last."""
    return pl.when(beyond.fill_null(False)).then(pl.max_horizontal(score, pl.lit(BEYOND_A_LIMIT))).otherwise(score)


def _short(value: pl.Expr, digits: int) -> pl.Expr:
    return value.round(digits).cast(pl.String).str.replace(r"\.0$", "")


def _odds_pct(p: pl.Expr) -> pl.Expr:
    """Return odds in percent; never as none or all of them."""
    pct = 100 * p
    text = pct.round(0).cast(pl.Int64).cast(pl.String)
    return pl.when(pct < 1).then(pl.lit("under 1")).when(pct > 99).then(pl.lit("over 99")).otherwise(text)


def _signed(value: pl.Expr) -> pl.Expr:
    text = _short(value, 0)
    return pl.when(value > 0).then(pl.format("+{}", text)).otherwise(text)
