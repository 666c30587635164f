-- glossary_not_testable: every reason for which the charge of a visit cannot be judged, with its limit
-- grain: one row per reason in the order in which pages tell them; source: not_testable_reasons
select words as because
from not_testable_reasons
order by place;
