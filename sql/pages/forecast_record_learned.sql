-- forecast_record_learned: the newest parameters and the record they are held to, as JSON text
-- grain: at most one row per name (fitted, record); source: core.forecast_params; consumer: how the forecast did
select
    "name",
    fitted_through,
    params
from core.forecast_params
qualify row_number() over (partition by "name" order by fitted_through desc) = 1
order by "name" asc;
