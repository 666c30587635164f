-- warranty_refunds_due: covered parts that the customer paid for
-- grain: one row per part, newest first, at most 200; source: warranty_refunds, sites
select
    refunds.unit_id,
    refunds.part,
    refunds.visit_date,
    refunds.covered_until,
    refunds.state,
    refunds.customer_paid,
    refunds.source_file,
    refunds.source_line,
    sites.customer_name,
    count(*) over () as refunds,
    round(sum(refunds.customer_paid) over (), 9) as paid_in_all
from warranty_refunds as refunds
left join units
    on refunds.unit_id = units.unit_id
left join sites
    on units.site_id = sites.site_id
order by
    refunds.visit_date desc,
    refunds.claim_id asc
limit 200;
