-- warranty_by_month: money by month
-- grain: one row per month of the visit, newest 24; source: warranty_money
select
    month,
    sum(filed)::bigint as filed,
    sum(credited)::bigint as credited,
    sum(denied)::bigint as denied,
    sum(lapsed)::bigint as lapsed,
    sum(recovered) as recovered,
    sum(waiting) as waiting,
    sum(to_file) as to_file,
    sum(lost_denied) as lost_denied,
    sum(lost_lapsed) as lost_lapsed
from warranty_money
group by month
order by month desc
limit 24;
