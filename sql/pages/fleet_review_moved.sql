-- fleet_review_moved: which units came on to the watch list or left it since the newest earlier as-of
-- grain: one row per unit, at most eight that came and eight that left, highest chance first
-- source: risk_history, unit_risk, units, sites
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

moved as (
    select
        unit_risk.unit_id,
        unit_risk.flagged,
        unit_risk.rank,
        unit_risk.leading_reason,
        unit_risk.last_visit_on > earlier.as_of as seen_since,
        row_number() over (partition by unit_risk.flagged order by unit_risk.rank asc) as place
    from unit_risk
    cross join earlier
    left join flagged_then
        on unit_risk.unit_id = flagged_then.unit_id
    where earlier.as_of is not null
        and unit_risk.flagged <> (flagged_then.unit_id is not null)
)

select
    moved.unit_id,
    moved.flagged,
    moved.leading_reason,
    moved.seen_since,
    sites.customer_name,
    sites.address
from moved
left join units
    on moved.unit_id = units.unit_id
left join sites
    on units.site_id = sites.site_id
where moved.place <= 8
order by moved.flagged desc, moved.rank asc;
