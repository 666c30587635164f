-- unit_capacitor_forecast: where each section of a unit stands and where it is going
-- grain: one row per unit and section; value bound: $unit_ids; source: capacitor_forecast
with asked as (
    select unnest($unit_ids::varchar[]) as unit_id
)

select
    capacitor_forecast.unit_id,
    capacitor_forecast.section,
    capacitor_forecast.as_of,
    capacitor_forecast.season_start,
    capacitor_forecast.season_end,
    capacitor_forecast.drift_pct,
    capacitor_forecast.drift_sd_pct,
    capacitor_forecast.drift_pct_per_year,
    capacitor_forecast.p_out_by_season_start,
    capacitor_forecast.p_out_by_season_end,
    capacitor_forecast.out_of_tolerance_on,
    capacitor_forecast.out_earliest,
    capacitor_forecast.out_latest,
    capacitor_forecast.already_out,
    capacitor_forecast.basis
from asked
inner join capacitor_forecast
    on asked.unit_id = capacitor_forecast.unit_id
order by capacitor_forecast.unit_id asc, capacitor_forecast.section desc;
