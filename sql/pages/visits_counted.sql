-- visits_counted: how many visits are stored
-- grain: always exactly one row; source: visits; consumer: the run, which refuses an input without any
select count(*) as visits_stored
from visits;
