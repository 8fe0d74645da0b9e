-- title = "Readings near each fingerstick"
-- row = "one reading of a worn sensor within the pairing limit of one fingerstick, or the 15.5 minutes before that"
-- role = "per-sensor"
-- [columns]
-- fingerstick_no = { class = "identifying", type = "integer" }
-- sensor_no = { class = "sensor", type = "integer" }
-- time = { class = "time" }
-- glucose = { class = "estimate" }
-- status = { class = "category" }
-- minutes = { class = "estimate" }
-- warm = { class = "category", type = "boolean" }

-- The reading paired and what pair_rates takes the slope before it from: these rows are many, and lie in memory.
SELECT fingerstick_no, sensor_no, time, glucose, status, minutes, warm
FROM around_checks
WHERE at_most(minutes, pairing_minutes) AND at_most(-minutes, pairing_minutes + 15.5)
