-- plan_causes: each active unit's chance of a failure this season and its split by cause
-- grain: one row per active unit; source: core.unit_forecast; consumers: plan
select
    unit_id,
    p_failure,
    cause_shares
from core.unit_forecast
order by unit_id;
