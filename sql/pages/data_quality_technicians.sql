-- data_quality_technicians: how complete and how believable the busiest technicians' readings are, with intervals
-- grain: one row per technician and kind of reading; source: technician_quality, capacitor_readings
with busiest as (
    select
        technician,
        row_number() over (order by max(visits) desc, technician asc) as place
    from technician_quality
    group by technician
    order by place
    limit 100
),

suspected as (
    select
        technician,
        count(*) as readings,
        count(suspect) as suspect_readings
    from capacitor_readings
    group by technician
)

select
    technician_quality.technician,
    technician_quality.visits,
    technician_quality.kind,
    technician_quality.count,
    technician_quality."of",
    technician_quality.share,
    technician_quality.share_low,
    technician_quality.share_high,
    technician_quality.digit_p_value,
    technician_quality.favourite_digit,
    coalesce(suspected.readings, 0) as readings,
    coalesce(suspected.suspect_readings, 0) as suspect_readings
from technician_quality
inner join busiest
    on technician_quality.technician = busiest.technician
left join suspected
    on technician_quality.technician = suspected.technician
order by busiest.place, technician_quality.kind;
