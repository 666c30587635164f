-- fleet_review_renewals: agreements that end soon, and before the next season; the first to end by name
-- grain: one row where there is any, else none; source: unit_risk, units, sites
with ending as (
    select
        sites.site_id,
        sites.customer_name,
        sites.phone,
        sites.address,
        sites.agreement_renews_on,
        min(unit_risk.unit_id) as unit_id,
        max(unit_risk.as_of) as as_of
    from unit_risk
    inner join units
        on unit_risk.unit_id = units.unit_id
    inner join sites
        on units.site_id = sites.site_id
    where sites.agreement = 'yes'
        and sites.agreement_renews_on >= unit_risk.as_of
        and sites.agreement_renews_on < greatest(unit_risk.season_start, unit_risk.as_of + interval 31 day)
    group by sites.site_id, sites.customer_name, sites.phone, sites.address, sites.agreement_renews_on
),

placed as (
    select
        site_id,
        customer_name,
        phone,
        address,
        agreement_renews_on,
        unit_id,
        count(*) over () as agreements,
        count(*) filter (where agreement_renews_on <= as_of + interval 30 day) over () as agreements_30_days,
        row_number() over (order by agreement_renews_on asc, site_id asc) as place
    from ending
)

select
    agreements,
    agreements_30_days,
    agreement_renews_on,
    unit_id,
    customer_name,
    phone,
    address
from placed
where place = 1;
