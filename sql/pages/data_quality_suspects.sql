-- data_quality_suspects: readings that were kept but are discounted, by why
-- grain: one row per reason, the fields it was said of joined by "; "; source: suspects
select
    reason as because,
    string_agg(distinct field, '; ' order by field) as fields,
    count(*) as readings,
    count(distinct (unit_id, visit_id)) as visits,
    count(distinct unit_id) as units
from suspects
group by reason
order by visits desc, because asc
limit 60;
