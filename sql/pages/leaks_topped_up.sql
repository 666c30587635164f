-- leaks_topped_up: active units that were given refrigerant without a leak found or a repair since
-- grain: one row per unit, at most 500, most ounces first; units_in_all counts them all
-- source: open_findings, refrigerant_ledger, visits, charge_trend, unit_risk, units, sites
with topped_up as (
    select
        open_findings.unit_id,
        unit_risk.as_of,
        min(open_findings.found_on) as found_on,
        arg_max(open_findings.decision, open_findings.found_on) as decision
    from open_findings
    inner join unit_risk
        on open_findings.unit_id = unit_risk.unit_id
    where open_findings.finding = 'topped_up_without_repair' and open_findings.resolved_on is null
    group by open_findings.unit_id, unit_risk.as_of
),

searches as (
    select
        topped_up.unit_id,
        bool_or(visits.leak_found = 'yes') as leak_located,
        arg_max(visits.leak_found, (visits.visit_date, visits.visit_id)) as leak_found,
        max(visits.visit_date) as searched_on
    from topped_up
    inner join visits
        on topped_up.unit_id = visits.unit_id
            and visits.visit_date between topped_up.found_on and topped_up.as_of
    where visits.leak_found is not null
    group by topped_up.unit_id
),

still_open as (
    select topped_up.*
    from topped_up
    left join searches
        on topped_up.unit_id = searches.unit_id
    where not coalesce(searches.leak_located, false)
),

top_ups as (
    select
        still_open.unit_id,
        count(*) as top_ups,
        round(sum(refrigerant_ledger.net_oz), 9) as net_oz,
        max(refrigerant_ledger.visit_date) as last_on
    from still_open
    inner join refrigerant_ledger
        on still_open.unit_id = refrigerant_ledger.unit_id
            and refrigerant_ledger.visit_date >= still_open.found_on
            and refrigerant_ledger.kind = 'top_up'
    group by still_open.unit_id
)

select
    still_open.unit_id,
    still_open.found_on,
    still_open.decision,
    top_ups.top_ups,
    top_ups.net_oz,
    top_ups.last_on,
    searches.leak_found,
    searches.searched_on,
    charge_trend.p_leaking,
    units.refrigerant,
    sites.customer_name,
    sites.phone,
    sites.address,
    sites.city,
    count(*) over () as units_in_all
from still_open
inner join top_ups
    on still_open.unit_id = top_ups.unit_id
left join searches
    on still_open.unit_id = searches.unit_id
left join charge_trend
    on still_open.unit_id = charge_trend.unit_id
left join units
    on still_open.unit_id = units.unit_id
left join sites
    on units.site_id = sites.site_id
order by top_ups.net_oz desc, still_open.unit_id asc
limit 500;
