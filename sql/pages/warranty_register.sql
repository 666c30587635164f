-- warranty_register: own installs to register
-- grain: one row per unit, the nearest first; source: installs_to_register, units, sites
select
    installs.unit_id,
    installs.installed_on,
    installs.register_by,
    installs.days_left,
    units.make,
    units.model,
    units.serial,
    sites.customer_name,
    units.source_file,
    units.source_line
from installs_to_register as installs
left join units
    on installs.unit_id = units.unit_id
left join sites
    on units.site_id = sites.site_id
order by
    installs.register_by,
    installs.unit_id;
