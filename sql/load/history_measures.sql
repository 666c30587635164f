-- history_measures: which readings the long form tells; source: imported.readings
select distinct measure from imported.readings;
