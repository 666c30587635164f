-- units_out: touched units make room for their new answers
-- source: staging.touched_units
delete from main.units using (select distinct unit_id from staging.touched_units) as touched
where main.units.unit_id = touched.unit_id;
