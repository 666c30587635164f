-- site_places: where each site is taken to be, for routes, the map and the call list
-- grain: one row per site; how is coordinates, turned, postal_code or null with why_not
create table core.site_places (
    site_id varchar,
    lat double,
    lon double,
    how varchar,
    why_not varchar
);
