-- fleet_review_register: own installs that are not registered with their maker yet; the nearest term by name
-- grain: one row where there is any whose term runs, else none; source: installs_to_register, units, sites
with running as (
    select
        unit_id,
        register_by,
        count(*) over () as installs,
        row_number() over (order by register_by asc, unit_id asc) as place
    from installs_to_register
    where days_left >= 0
)

select
    running.installs,
    running.register_by,
    running.unit_id,
    nullif(trim(units.make), '') as make,
    sites.customer_name,
    sites.phone,
    sites.address
from running
left join units
    on running.unit_id = units.unit_id
left join sites
    on units.site_id = sites.site_id
where running.place = 1;
