-- warranty_credit_days: how long makers take: days to an answer where one was seen to come, days waited so far elsewhere
-- grain: one row per claim with a date of filing; key claim_id
-- days_at_most: from filing to the import that first showed the answer, null where the first import had it already
-- source: warranty, corrections, imports; consumers: warranty page
create or replace view warranty_credit_days as
with changes as (
    select
        corrections.key,
        corrections.new_value as state,
        min(imports.imported_at)::date as seen_on
    from corrections
    inner join imports
        on corrections.import_id = imports.import_id
    where corrections.table_name = 'parts'
        and corrections.field = 'claim_status'
        and corrections.new_value in ('credited', 'denied')
    group by
        corrections.key,
        corrections.new_value
),

filed as (
    select
        claim_id,
        unit_id,
        claim_to,
        state,
        visit_date,
        claimed_on,
        days_since_filed,
        visit_id,
        part,
        row_n
    from warranty
    where state in ('filed', 'credited', 'denied') and claimed_on is not null
),

-- a row of parts may name its unit or leave it to the ticket
keys as (
    select
        claim_id,
        state,
        concat_ws(' / ', visit_id, unit_id, part, row_n) as key
    from filed
    union
    select
        claim_id,
        state,
        concat_ws(' / ', visit_id, part, row_n) as key
    from filed
),

seen as (
    select
        keys.claim_id,
        min(changes.seen_on) as seen_on
    from keys
    inner join changes
        on keys.key = changes.key and keys.state = changes.state
    group by keys.claim_id
)

select
    filed.claim_id,
    filed.unit_id,
    filed.claim_to,
    date_trunc('month', filed.visit_date)::date as month,
    filed.state,
    filed.claimed_on,
    filed.days_since_filed,
    seen.seen_on,
    case when seen.seen_on >= filed.claimed_on then date_diff('day', filed.claimed_on, seen.seen_on) end as days_at_most,
    case when filed.state = 'filed' then greatest(filed.days_since_filed, 0) end as days_waiting
from filed
left join seen
    on filed.claim_id = seen.claim_id;
