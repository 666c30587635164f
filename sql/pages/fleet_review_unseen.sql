-- fleet_review_unseen: units nobody has seen for 18 months but within 36, the longest first: the ones worth a call
-- grain: one row per unit, at most ten; source: unit_risk, units, sites
with unseen as (
    select
        unit_id,
        last_visit_on
    from unit_risk
    where last_visit_on < as_of - interval 18 month
        and last_visit_on >= as_of - interval 36 month
    order by last_visit_on asc, unit_id asc
    limit 10
)

select
    unseen.unit_id,
    unseen.last_visit_on,
    sites.customer_name,
    sites.phone,
    sites.address,
    sites.city,
    units.make
from unseen
left join units
    on unseen.unit_id = units.unit_id
left join sites
    on units.site_id = sites.site_id
order by unseen.last_visit_on asc, unseen.unit_id asc;
