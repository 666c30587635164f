-- units_have_their_site: units that are told where they stand, but whose site has no row though something is said of it
-- grain: offending unit; source: units, sites, imported.sites
select
    units.unit_id,
    units.site_id
from units
inner join imported.sites as told
    on units.site_id = told.site_id
anti join sites
    on units.site_id = sites.site_id;
