-- spring_round_stops: every stop of the round with its place and customer
-- grain: one row per unit on a route, by technician, date and stop; source: route_stops, units, sites, core.plan_days, core.site_places, unit_risk
select
    stops.technician,
    stops.date,
    cast(date_trunc('week', stops.date) as date) as week_start,
    stops.stop,
    stops.unit_id,
    stops.arrive,
    stops.service_minutes,
    stops.drive_minutes,
    stops.reasons,
    stops.work,
    stops.value,
    stops.status,
    stops.truck,
    stops.site_id,
    days.opens,
    days.closes,
    units.unit_location,
    units.make,
    units.model,
    units.serial,
    units.equipment,
    units.refrigerant,
    units.metering,
    units.nominal_tons,
    units.target_subcooling_f,
    units.factory_charge_oz,
    sites.customer_name,
    sites.phone,
    sites.address,
    sites.city,
    sites.postal_code,
    sites.access_notes,
    sites.agreement,
    places.lat,
    places.lon,
    risk.p_failure,
    risk.last_visit_on
from route_stops as stops
left join units
    on stops.unit_id = units.unit_id
left join sites
    on coalesce(stops.site_id, units.site_id) = sites.site_id
left join core.site_places as places
    on sites.site_id = places.site_id
left join core.plan_days as days
    on stops.technician = days.technician and stops.date = days.date
left join unit_risk as risk
    on stops.unit_id = risk.unit_id
order by stops.technician, stops.date, stops.stop;
