-- warranty_credit_days: days from filing a claim to the import that first showed it credited or denied
-- grain: one row per claim that was seen to change; key claim_id; an upper limit, as exports come when they come
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
)

select
    warranty.claim_id,
    warranty.unit_id,
    warranty.claim_to,
    warranty.state,
    warranty.claimed_on,
    changes.seen_on,
    date_diff('day', warranty.claimed_on, changes.seen_on) as days
from warranty
inner join changes
    on warranty.state = changes.state
    and changes.key in (
        concat_ws(' / ', warranty.visit_id, warranty.unit_id, warranty.part, warranty.row_n),
        concat_ws(' / ', warranty.visit_id, warranty.part, warranty.row_n)
    )
where warranty.claimed_on is not null and changes.seen_on >= warranty.claimed_on;
