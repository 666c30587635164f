-- fleet_review_first: the ten units to see first; flagged ones lead (in season those not seen in it yet), then the next in line
-- grain: one row per unit, at most ten; source: unit_risk, units, sites
with first_in_line as (
    select
        unit_id,
        flagged,
        last_visit_on,
        p_failure,
        p_low,
        p_high,
        rank,
        leading_reason,
        flagged and as_of >= season_start and last_visit_on >= season_start as seen_in_season
    from unit_risk
    where p_failure is not null
    order by flagged desc, coalesce(seen_in_season, false) asc, rank asc
    limit 10
)

select
    first_in_line.rank,
    first_in_line.unit_id,
    first_in_line.flagged,
    coalesce(first_in_line.seen_in_season, false) as seen_in_season,
    sites.customer_name,
    sites.phone,
    sites.address,
    sites.city,
    first_in_line.p_failure,
    first_in_line.p_low,
    first_in_line.p_high,
    first_in_line.leading_reason,
    first_in_line.last_visit_on
from first_in_line
left join units
    on first_in_line.unit_id = units.unit_id
left join sites
    on units.site_id = sites.site_id
order by first_in_line.flagged desc, coalesce(first_in_line.seen_in_season, false) asc, first_in_line.rank asc;
