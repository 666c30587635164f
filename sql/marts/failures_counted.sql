-- failures_counted: the failures that count in the rates: after the first visit, within the exposure
-- grain: one row per failure; key unit_id, visit_id
-- source: core.failures_counted (forecast.exposure); consumers: rows behind the rates
create or replace view failures_counted as
select
    unit_id,
    visit_id,
    visit_date,
    cause
from core.failures_counted;
