-- warranty_refunds: covered parts that the customer paid for
-- grain: one row per part fitted; key claim_id
-- source: core.warranty_claims (warranty.claims); consumers: warranty page
create or replace view warranty_refunds as
select
    claim_id,
    unit_id,
    part,
    visit_id,
    visit_date,
    covered_until,
    state,
    customer_paid,
    amount as claim_amount,
    source_file,
    source_line
from core.warranty_claims
where customer_paid > 0;
