-- warranty_unbilled: work done and not billed
-- grain: one row per item of the last two years, newest first, at most 200; source: not_billed, core.unit_forecast
with forecasts as (
    select max(as_of) as as_of
    from core.unit_forecast
)

select
    items.unit_id,
    items.visit_date,
    items.item,
    items.quantity,
    items.shown_by,
    items.snippet as notes,
    items.cost,
    items.invoice_total,
    items.source_file,
    items.source_line,
    count(*) over () as items
from not_billed as items
cross join forecasts
where items.visit_date > forecasts.as_of - interval 2 year
order by
    items.visit_date desc,
    items.unit_id asc,
    items.item asc
limit 200;
