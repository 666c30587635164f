-- fleet_review_reasons: what the flagged units are flagged for, by the cause word that leads the reason
-- grain: one row per cause word; source: unit_risk
with flagged as (
    select
        p_failure,
        coalesce(nullif(regexp_extract(leading_reason, '^[a-z_]+'), ''), 'other') as cause
    from unit_risk
    where flagged
)

select
    cause,
    count(*) as units,
    coalesce(round(sum(p_failure), 9), 0) as expected_failures
from flagged
group by cause
order by units desc, cause asc;
