-- begin: where a run notes which units and sites its files touched
create or replace table staging.touched_units (unit_id varchar not null);
create or replace table staging.touched_sites (site_id varchar not null);
