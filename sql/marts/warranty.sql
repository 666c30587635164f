-- warranty: every claim there is or may be, with its deadline and what it is worth
-- grain: one row per part fitted with a claim made or still to make, and per weak part to test; key claim_id
-- source: core.warranty_claims (warranty.book), core.runs; consumers: warranty page, claim pages, lists/claims.csv
create or replace view warranty as
with runs as (
    select arg_max(as_of, run_id) as as_of
    from core.runs
),

forecasts as (
    -- pages are made before the first run is on record
    select max(as_of) as as_of
    from core.unit_forecast
),

claims as (
    select
        claim_id,
        unit_id,
        part,
        section,
        visit_id,
        visit_date,
        row_n,
        covered_until,
        cover_basis,
        state,
        amount,
        deadline,
        claim_to,
        customer_paid,
        cost,
        claim_amount,
        claimed_on,
        part_make,
        serial_out,
        serial_in,
        evidence,
        missing,
        note,
        source_file,
        source_line
    from core.warranty_claims
    where state is not null
)

select
    claims.unit_id,
    claims.part,
    claims.covered_until,
    claims.state,
    claims.amount,
    claims.deadline,
    date_diff('day', coalesce(forecasts.as_of, runs.as_of), claims.deadline) as days_left,
    claims.claim_id,
    claims.section,
    claims.visit_id,
    claims.visit_date,
    claims.row_n,
    claims.cover_basis,
    claims.claim_to,
    claims.customer_paid,
    claims.cost,
    claims.claim_amount,
    claims.claimed_on,
    date_diff('day', claims.claimed_on, coalesce(forecasts.as_of, runs.as_of)) as days_since_filed,
    claims.part_make,
    claims.serial_out,
    claims.serial_in,
    claims.evidence,
    claims.missing,
    claims.note,
    claims.source_file,
    claims.source_line
from claims
cross join runs
cross join forecasts;
