-- unit_risk: the chance that a unit fails before the season in question ends, and its place in the line
-- grain: one row per active unit; key unit_id
-- source: core.unit_forecast (forecast.apply), visits, core.settings; consumers: every page, lists/watchlist.csv
create or replace view unit_risk as
with forecast as (
    select
        unit_id,
        as_of,
        season_start,
        season_end,
        p_failure,
        p_low,
        p_high,
        flagged,
        leading_reason,
        reasons,
        worth_a_stop,
        first_in_line,
        net_saving,
        cause_shares,
        basis
    from core.unit_forecast
),

last_visits as (
    -- a visit dated after as-of is stored and left out of everything computed
    select
        visits.unit_id,
        max(visits.visit_date) as last_visit_on
    from visits
    inner join forecast
        on visits.unit_id = forecast.unit_id and visits.visit_date <= forecast.as_of
    group by visits.unit_id
),

emergency_call as (
    select max(try_cast("value" as double)) as cost
    from core.settings
    where "key" = 'costs.emergency_call'
)

select
    forecast.unit_id,
    forecast.as_of,
    forecast.season_start,
    forecast.season_end,
    last_visits.last_visit_on,
    forecast.p_failure,
    forecast.p_low,
    forecast.p_high,
    row_number() over (order by forecast.p_failure desc nulls last, forecast.unit_id asc) as rank,
    coalesce(forecast.flagged, false) as flagged,
    forecast.leading_reason,
    forecast.reasons,
    forecast.p_failure * emergency_call.cost as expected_cost,
    greatest(date_diff('day', forecast.as_of, forecast.season_start), 0) as days_to_season,
    greatest(date_diff('day', forecast.as_of, forecast.season_end) + 1, 0) as season_days_left,
    forecast.worth_a_stop,
    forecast.first_in_line,
    forecast.net_saving,
    forecast.cause_shares,
    forecast.basis
from forecast
cross join emergency_call
left join last_visits
    on forecast.unit_id = last_visits.unit_id;
