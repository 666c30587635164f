-- fleet_review_last_seen: active units by the time since their last visit
-- grain: one row per band, all five always present; source: unit_risk
with bands as (
    select
        band,
        band_order
    from (values
        ('in the last 6 months', 1),
        ('6 to 12 months ago', 2),
        ('12 to 18 months ago', 3),
        ('18 to 36 months ago', 4),
        ('longer ago, or never', 5)
    ) as listed (band, band_order)
),

placed as (
    select
        case
            when last_visit_on is null then 5
            when last_visit_on >= as_of - interval 6 month then 1
            when last_visit_on >= as_of - interval 12 month then 2
            when last_visit_on >= as_of - interval 18 month then 3
            when last_visit_on >= as_of - interval 36 month then 4
            else 5
        end as band_order
    from unit_risk
)

select
    bands.band,
    count(placed.band_order) as units
from bands
left join placed
    on bands.band_order = placed.band_order
group by bands.band, bands.band_order
order by bands.band_order asc;
