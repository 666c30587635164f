-- open_findings: what was found and not put right on the spot, with the customer's decision and what put it right later
-- grain: one row per finding; key unit_id, finding, found_on
-- source: core.open_findings (enrich); consumers: fleet review, unit pages
create or replace view open_findings as
select
    unit_id,
    finding,
    found_on,
    visit_id,
    evidence,
    decision,
    days_open,
    resolved_on,
    resolved_by,
    decided_on,
    verified
from core.open_findings;
