-- watch_list_saving: what extra stops are expected to save over making none, by the units they are made at
-- grain: one row; source: unit_risk, core.settings
with named as (
    select
        "key",
        try_cast("value" as double) as amount
    from core.settings
),

settings as (
    select
        max(amount) filter (where "key" = 'costs.stop') as stop_cost,
        max(amount) filter (where "key" = 'costs.emergency_call') as call_cost,
        max(amount) filter (where "key" = 'flagging.prevention_run_capacitor') as capacitor_share,
        max(amount) filter (where "key" = 'flagging.prevention_share') as other_share
    from named
),

units as (
    select
        count(*) as units_all,
        count(*) filter (where flagged) as units_flagged,
        count(*) filter (where worth_a_stop) as units_worth,
        coalesce(round(sum(net_saving) filter (where worth_a_stop), 9), 0.0) as saving_worth,
        coalesce(round(sum(net_saving) filter (where flagged), 9), 0.0) as saving_flagged,
        coalesce(round(sum(net_saving), 9), 0.0) as saving_all
    from unit_risk
)

select
    units.units_all,
    units.units_flagged,
    units.units_worth,
    units.saving_worth,
    units.saving_flagged,
    units.saving_all,
    settings.stop_cost,
    settings.call_cost,
    settings.stop_cost / nullif(settings.call_cost * settings.capacitor_share, 0) as chance_capacitor,
    settings.stop_cost / nullif(settings.call_cost * settings.other_share, 0) as chance_other
from units
cross join settings;
