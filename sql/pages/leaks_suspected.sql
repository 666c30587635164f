-- leaks_suspected: active units that are probably losing charge, most lost first and what was declined last, with whom
-- to call
-- grain: one row per unit, at most 1,000, most of the charge a year first; units_in_all counts them all
-- source: charge_trend, unit_risk, units, sites, refrigerant_ledger, open_findings
with suspected as (
    select
        charge_trend.unit_id,
        charge_trend.p_leaking,
        charge_trend.leak_rate_pct_per_year,
        charge_trend.leak_rate_low_pct,
        charge_trend.leak_rate_high_pct,
        charge_trend.refrigerant_added_oz_12_months,
        charge_trend.because,
        unit_risk.rank,
        count(*) over () as units_in_all
    from charge_trend
    inner join unit_risk
        on charge_trend.unit_id = unit_risk.unit_id
    where charge_trend.charge_loss_suspected
    order by charge_trend.leak_rate_pct_per_year desc, charge_trend.unit_id asc
    limit 1000
),

thresholds as (
    select
        unit_id,
        arg_max(federal_threshold, visit_date) as federal_threshold
    from refrigerant_ledger
    group by unit_id
),

decisions as (
    select
        unit_id,
        arg_max(decision, (decided_on, found_on)) as decision,
        max(decided_on) as decided_on
    from open_findings
    where resolved_on is null
        and decision is not null
        and finding in ('leak_found', 'topped_up_without_repair', 'charge_low', 'oil_stain')
    group by unit_id
)

select
    suspected.unit_id,
    suspected.p_leaking,
    suspected.leak_rate_pct_per_year,
    suspected.leak_rate_low_pct,
    suspected.leak_rate_high_pct,
    suspected.refrigerant_added_oz_12_months,
    suspected.because,
    suspected.units_in_all,
    thresholds.federal_threshold,
    decisions.decision,
    decisions.decided_on,
    units.refrigerant,
    units.factory_charge_oz,
    sites.customer_name,
    sites.phone,
    sites.address,
    sites.city
from suspected
left join thresholds
    on suspected.unit_id = thresholds.unit_id
left join decisions
    on suspected.unit_id = decisions.unit_id
left join units
    on suspected.unit_id = units.unit_id
left join sites
    on units.site_id = sites.site_id
order by
    coalesce(decisions.decision = 'declined', false) asc,
    suspected.leak_rate_pct_per_year desc,
    suspected.unit_id asc;
