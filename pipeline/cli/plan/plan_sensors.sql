-- title = "Sensors, for a plan"
SELECT wearer, sensor, site, side, inserted, seen_until, state, model, rated_days, days
FROM sessions
ORDER BY wearer, inserted, sensor
