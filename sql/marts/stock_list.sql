-- stock_list: what is to be on board per truck and week, per truck in season, and what is to be ordered
-- grain: one row per part, size and use (for_what: truck, week, order); key part, size, for_what, for_which
-- source: core.stock_list (pipeline.plan.stock); consumers: round, week and sheet pages, lists/stock.csv
-- covers_pct: chance that the whole list of a use, stand-ins counted and stop-gaps not, serves every need for the part
create or replace view stock_list as
select
    part,
    size,
    quantity,
    covers_pct,
    substitutes,
    for_what,
    for_which,
    expected,
    size_covers_pct,
    on_hand,
    to_order,
    cost,
    truck,
    week_start,
    order_by,
    proven
from core.stock_list;
