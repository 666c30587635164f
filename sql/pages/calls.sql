-- calls: whom to call before anybody drives there, why, and when a truck is near
-- grain: one row per unit due, in the order to call; source: core.call_list, route_stops, units, sites, unit_risk
select
    calls.unit_id,
    calls.status,
    calls.why,
    calls.near,
    calls.date,
    calls.technician,
    stops.arrive,
    calls.value,
    risk.p_failure,
    risk.leading_reason,
    sites.customer_name,
    sites.phone,
    sites.address,
    sites.city,
    sites.agreement,
    units.unit_location
from core.call_list as calls
left join units
    on calls.unit_id = units.unit_id
left join sites
    on units.site_id = sites.site_id
left join route_stops as stops
    on calls.unit_id = stops.unit_id
left join unit_risk as risk
    on calls.unit_id = risk.unit_id
order by
    case calls.status when 'to_book' then 0 when 'no_answer' then 1 when 'booked' then 2 else 3 end,
    calls.value desc nulls last,
    calls.unit_id asc;
