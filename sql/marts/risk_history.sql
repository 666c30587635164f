-- risk_history: what each run said about each unit at its as-of
-- grain: one row per unit and as-of of a run; key unit_id, as_of
-- source: core.risk_history (kept by every run); consumers: fleet review (new and cleared), unit pages
create or replace view risk_history as
with history as (
    select
        unit_id,
        as_of,
        p_failure,
        flagged
    from core.risk_history
)

select
    unit_id,
    as_of,
    p_failure,
    flagged
from history;
