-- fleet_review_open: open findings by age
-- grain: one row per band, all four always present; source: open_findings, unit_risk
with bands as (
    select
        band,
        band_order
    from (values
        ('up to 30 days', 1),
        ('1 to 3 months', 2),
        ('3 to 12 months', 3),
        ('over a year', 4)
    ) as listed (band, band_order)
),

placed as (
    select
        case
            when open_findings.found_on >= unit_risk.as_of - interval 30 day then 1
            when open_findings.found_on >= unit_risk.as_of - interval 3 month then 2
            when open_findings.found_on >= unit_risk.as_of - interval 12 month then 3
            else 4
        end as band_order
    from open_findings
    inner join unit_risk
        on open_findings.unit_id = unit_risk.unit_id
    where open_findings.resolved_on is null
)

select
    bands.band,
    count(placed.band_order) as findings
from bands
left join placed
    on bands.band_order = placed.band_order
group by bands.band, bands.band_order
order by bands.band_order asc;
