-- not_billed: parts and refrigerant that a visit shows, without a price and without a claim
-- grain: one row per item of a visit
-- source: core.not_billed (warranty.unbilled); consumers: warranty page
create or replace view not_billed as
select
    unit_id,
    visit_id,
    visit_date,
    item,
    quantity,
    shown_by,
    snippet,
    cost,
    invoice_total,
    source_file,
    source_line
from core.not_billed;
