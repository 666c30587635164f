-- route_sheet_capacitors: the rating in force and the last believed reading of each section of the units on a route
-- grain: one row per unit on a route and section; source: route_stops, core.capacitor_series, capacitor_readings
with routed as (
    select distinct unit_id
    from route_stops
),

in_force as (
    select
        series.unit_id,
        series.section,
        arg_max(series.rated_uf, series.series) as rated_uf,
        arg_max(series.volts, series.series) as volts,
        max(series.series) as series
    from core.capacitor_series as series
    inner join routed
        on series.unit_id = routed.unit_id
    where series.ended_on is null and series.rated_uf > 0
    group by series.unit_id, series.section
),

last_read as (
    select
        readings.unit_id,
        readings.section,
        readings.series,
        max_by(readings.measured_uf, (readings.visit_date, readings.visit_id)) as measured_uf,
        max_by(readings.drift_pct, (readings.visit_date, readings.visit_id)) as drift_pct,
        max(readings.visit_date) as read_on
    from capacitor_readings as readings
    inner join routed
        on readings.unit_id = routed.unit_id
    where readings.suspect is null
    group by readings.unit_id, readings.section, readings.series
)

select
    in_force.unit_id,
    in_force.section,
    in_force.rated_uf,
    in_force.volts,
    last_read.measured_uf,
    last_read.drift_pct,
    last_read.read_on
from in_force
left join last_read
    on
        in_force.unit_id = last_read.unit_id
        and in_force.section = last_read.section
        and in_force.series = last_read.series
order by
    in_force.unit_id,
    case in_force.section when 'herm' then 0 when 'fan' then 1 else 2 end;
