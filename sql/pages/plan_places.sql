-- plan_places: where each active unit stands and whom to call
-- grain: one row per active unit; source: unit_risk, units, sites, core.site_places; consumers: call list, calendars, route list
select
    unit_risk.unit_id,
    sites.customer_name,
    sites.phone,
    sites.address,
    sites.city,
    sites.postal_code,
    sites.access_notes,
    units.unit_location,
    places.lat,
    places.lon
from unit_risk
left join units
    on unit_risk.unit_id = units.unit_id
left join sites
    on units.site_id = sites.site_id
left join core.site_places as places
    on units.site_id = places.site_id
order by unit_risk.unit_id;
