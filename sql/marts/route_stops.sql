-- route_stops: the spring round, unit by unit in the order driven
-- grain: one row per unit on a route; key technician, date, stop
-- source: core.route_stops (pipeline.plan); consumers: round pages, lists/routes.csv, truck stock
create or replace view route_stops as
select
    technician,
    date,
    stop,
    unit_id,
    arrive,
    service_minutes,
    drive_minutes,
    reasons,
    site_id,
    work,
    value,
    status,
    truck
from core.route_stops;
