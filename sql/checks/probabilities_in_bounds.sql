-- probabilities_in_bounds: forecasts whose probability is none, or lies outside its own interval
-- grain: offending unit; source: core.unit_forecast
select
    unit_id,
    p_failure,
    p_low,
    p_high
from core.unit_forecast
where not (p_low between 0 and p_failure and p_high between p_failure and 1);
