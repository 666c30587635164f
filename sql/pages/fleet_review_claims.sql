-- fleet_review_claims: claims to file, claims waiting by age, parts to test before their warranty lapses
-- grain: one row per state that has any, with its most pressing unit by name; source: warranty, units, sites
with open_claims as (
    select
        unit_id,
        part,
        section,
        state,
        coalesce(amount, 0) as amount,
        deadline,
        claimed_on,
        days_since_filed,
        row_number() over (
            partition by state
            order by deadline asc nulls last, days_since_filed desc nulls last, unit_id asc
        ) as place
    from warranty
    where state = 'filed'
        or (state in ('to_file', 'test_before_lapse') and days_left >= 0)
),

states as (
    select
        state,
        count(*) as claims,
        round(sum(amount), 9) as amount,
        count(*) filter (where days_since_filed between 31 and 90) as filed_over_30,
        count(*) filter (where days_since_filed > 90) as filed_over_90
    from open_claims
    group by state
)

select
    states.state,
    states.claims,
    states.amount,
    states.filed_over_30,
    states.filed_over_90,
    open_claims.deadline,
    open_claims.claimed_on,
    open_claims.part,
    open_claims.section,
    open_claims.unit_id,
    sites.customer_name,
    sites.phone,
    sites.address
from states
inner join open_claims
    on states.state = open_claims.state and open_claims.place = 1
left join units
    on open_claims.unit_id = units.unit_id
left join sites
    on units.site_id = sites.site_id
order by states.state asc;
