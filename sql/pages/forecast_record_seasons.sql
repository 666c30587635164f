-- forecast_record_seasons: in plain counts, what each past season's forecast flagged and what became of it
-- grain: one row per season and day asked; source: backtest; consumer: the page on how the forecast did
select
    season,
    asked,
    min(as_of) as as_of,
    count(failed) as units,
    count(*) - count(failed) as left_out,
    count(*) filter (where failed) as failures,
    coalesce(round(sum(p_failure) filter (where failed is not null), 9), 0) as expected_failures,
    count(failed) filter (where flagged) as flagged,
    count(*) filter (where flagged and failed) as flagged_failed,
    count(failed) filter (where not flagged) as others,
    count(*) filter (where not flagged and failed) as others_failed
from backtest
group by season, asked
order by season desc, asked desc;
