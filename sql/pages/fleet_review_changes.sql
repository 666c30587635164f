-- fleet_review_changes: units that came on to the watch list or left it since the newest earlier as-of
-- grain: always exactly one row, earlier_as_of null where there is no earlier run; source: risk_history, unit_risk
with now_as_of as (
    select max(as_of) as as_of
    from unit_risk
),

earlier as (
    select max(risk_history.as_of) as as_of
    from risk_history
    cross join now_as_of
    where risk_history.as_of < now_as_of.as_of
),

flagged_then as (
    select risk_history.unit_id
    from risk_history
    inner join earlier
        on risk_history.as_of = earlier.as_of
    where risk_history.flagged
),

flagged_now as (
    select unit_id
    from unit_risk
    where flagged
)

select
    earlier.as_of as earlier_as_of,
    count(*) filter (where flagged_now.unit_id is not null and flagged_then.unit_id is null) as units_new,
    count(*) filter (where flagged_now.unit_id is null and flagged_then.unit_id is not null) as units_cleared
from earlier
left join (
    flagged_now
    full outer join flagged_then
        on flagged_now.unit_id = flagged_then.unit_id
)
    on true
group by earlier.as_of;
