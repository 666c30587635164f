-- capacitor_forecast: where each rated section stands and when it leaves its tolerance
-- grain: one row per active unit and rated section, read or not; key unit_id, section
-- source: core.section_forecast (forecast.apply); consumers: unit pages, stock list
create or replace view capacitor_forecast as
with forecast as (
    select
        unit_id,
        section,
        as_of,
        season_start,
        season_end,
        drift_pct,
        drift_sd_pct,
        drift_pct_per_year,
        p_out_by_season_start,
        p_out_by_season_end,
        out_of_tolerance_on,
        out_earliest,
        out_latest,
        already_out,
        basis,
        last_reading_on
    from core.section_forecast
)

select
    unit_id,
    section,
    as_of,
    drift_pct,
    drift_pct_per_year,
    p_out_by_season_start,
    p_out_by_season_end,
    out_of_tolerance_on,
    out_earliest,
    out_latest,
    season_start,
    season_end,
    drift_sd_pct,
    already_out,
    basis,
    last_reading_on,
    date_diff('day', as_of, out_of_tolerance_on) as days_left
from forecast;
