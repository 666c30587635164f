-- fleet_review_outcome: what became of the forecast for the season that ended last, as told on its eve
-- grain: one row where a season has ended, else none; source: backtest, unit_risk
with as_of as (
    select max(as_of) as as_of
    from unit_risk
),

ended as (
    select max(backtest.season) as season
    from backtest
    cross join as_of
    where backtest.season_end <= as_of.as_of
)

select
    backtest.season,
    count(*) filter (where backtest.failed) as failures,
    coalesce(round(sum(backtest.p_failure) filter (where backtest.failed is not null), 9), 0) as expected_failures,
    count(backtest.failed) filter (where backtest.flagged) as flagged,
    count(*) filter (where backtest.flagged and backtest.failed) as flagged_failed,
    count(backtest.failed) filter (where not backtest.flagged) as others,
    count(*) filter (where not backtest.flagged and backtest.failed) as others_failed
from backtest
inner join ended
    on backtest.season = ended.season
where backtest.asked = 'eve'
group by backtest.season;
