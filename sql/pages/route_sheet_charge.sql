-- route_sheet_charge: the last charge reading of the units on a route
-- grain: one row per unit on a route with a charge reading; source: route_stops, charge_readings
with routed as (
    select distinct unit_id
    from route_stops
)

select
    readings.unit_id,
    max(readings.visit_date) as read_on,
    max_by(readings.superheat_f, (readings.visit_date, readings.visit_id)) as superheat_f,
    max_by(readings.subcooling_f, (readings.visit_date, readings.visit_id)) as subcooling_f,
    max_by(readings.charge_verdict, (readings.visit_date, readings.visit_id)) as charge_verdict
from charge_readings as readings
inner join routed
    on readings.unit_id = routed.unit_id
group by readings.unit_id
order by readings.unit_id;
