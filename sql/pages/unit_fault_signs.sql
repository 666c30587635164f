-- unit_fault_signs: how far each reading of the newest visit with a fault answer is off, and what the sign table says of it
-- grain: seven rows per unit in the order of place; value bound: $unit_ids; source: charge_readings, fault_signs
with asked as (
    select unnest($unit_ids::varchar[]) as unit_id
),

newest as (
    select charge_readings.*
    from asked
    inner join charge_readings
        on asked.unit_id = charge_readings.unit_id
    where charge_readings.likely_fault is not null
    qualify row_number() over (
        partition by charge_readings.unit_id order by charge_readings.visit_date desc, charge_readings.visit_id desc
    ) = 1
),

readings as (
    select
        place,
        reading
    from (
        values
        (1, 'superheat_off_f'),
        (2, 'subcooling_off_f'),
        (3, 'suction_saturation_off_f'),
        (4, 'liquid_saturation_off_f'),
        (5, 'temperature_split_off_f'),
        (6, 'discharge_line_off_f'),
        (7, 'condenser_rise_off_f')
    ) as listed (place, reading)
)

select
    newest.unit_id,
    newest.visit_id,
    newest.visit_date,
    newest.likely_fault,
    readings.place,
    readings.reading,
    fault_signs.table_says,
    case readings.reading
        when 'superheat_off_f' then newest.superheat_off_f
        when 'subcooling_off_f' then newest.subcooling_off_f
        when 'suction_saturation_off_f' then newest.suction_saturation_off_f
        when 'liquid_saturation_off_f' then newest.liquid_saturation_off_f
        when 'temperature_split_off_f' then newest.temperature_split_off_f
        when 'discharge_line_off_f' then newest.discharge_line_off_f
        when 'condenser_rise_off_f' then newest.condenser_rise_off_f
    end as off_f,
    case readings.reading
        when 'superheat_off_f' then newest.superheat_off_sd_f
        when 'subcooling_off_f' then newest.subcooling_off_sd_f
        when 'suction_saturation_off_f' then newest.suction_saturation_off_sd_f
        when 'liquid_saturation_off_f' then newest.liquid_saturation_off_sd_f
        when 'temperature_split_off_f' then newest.temperature_split_off_sd_f
        when 'discharge_line_off_f' then newest.discharge_line_off_sd_f
        when 'condenser_rise_off_f' then newest.condenser_rise_off_sd_f
    end as off_sd_f
from newest
cross join readings
left join fault_signs
    on newest.likely_fault = fault_signs.fault
        and readings.reading = fault_signs.reading
        and fault_signs.metering = if(newest.metering in ('txv', 'eev'), 'expansion_valve', 'fixed_orifice')
order by newest.unit_id asc, readings.place asc;
