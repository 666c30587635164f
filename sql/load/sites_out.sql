-- sites_out: touched sites make room for their new answers
-- source: staging.touched_sites
delete from main.sites using (select distinct site_id from staging.touched_sites) as touched
where main.sites.site_id = touched.site_id;
