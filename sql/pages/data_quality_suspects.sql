-- data_quality_suspects: readings that were kept but are discounted, by why
-- grain: one row per field and reason; source: suspects
select
    field,
    reason as because,
    count(*) as readings,
    count(distinct unit_id) as units
from suspects
group by field, reason
order by readings desc, field asc, because asc
limit 60;
