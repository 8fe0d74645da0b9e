-- title = "Sensors that ended early"
-- row = "one sensor, the one that ended last first"
-- role = "intermediate"
-- [columns]
-- panel = { class = "category", type = "integer" }
-- wearer = { class = "wearer" }
-- sensor = { class = "sensor" }
-- sensor_no = { class = "sensor", type = "integer" }
-- model = { class = "identifying" }
-- lot = { class = "identifying" }
-- site = { class = "site" }
-- side = { class = "category" }
-- inserted = { class = "time" }
-- ended = { class = "time" }
-- hours_worn = { class = "estimate" }
-- hours_lost = { class = "estimate" }
-- cause = { class = "category" }
-- last_reading = { class = "time" }
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
WHERE ended IS NOT NULL AND cause <> 'completed' AND below(days, rated_days)
ORDER BY panel
