-- title = "Sensors that ended early"
-- row = "one sensor, the one that ended last first"
-- role = "intermediate"
SELECT
    ROW_NUMBER() OVER (ORDER BY ended DESC, wearer, sensor) AS panel,
    wearer,
    sensor,
    sensor_no,
    model,
    lot,
    site,
    side,
    inserted,
    ended,
    24 * days AS hours_worn,
    24 * (rated_days - days) AS hours_lost,
    cause,
    last_reading
FROM sessions
WHERE ended IS NOT NULL AND cause <> 'completed' AND days < rated_days * (1 - 1e-9)
ORDER BY panel
