-- spring_round_notes: what the plan has to say, in order
-- grain: one row per sentence; source: core.plan_notes
select note
from core.plan_notes
order by place;
