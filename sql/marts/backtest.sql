-- backtest: what the forecast would have said before each past season, from what was known then, and what happened
-- grain: one row per past season, as-of and unit; key season, as_of, unit_id
-- source: core.backtest (forecast.backtest); consumers: the page on how the forecast did
create or replace view backtest as
select
    unit_id,
    season,
    as_of,
    p_failure,
    failed,
    asked,
    season_start,
    season_end,
    p_low,
    p_high,
    flagged,
    last_reading_out,
    failed_on,
    failed_cause,
    cause_shares,
    basis
from core.backtest;
