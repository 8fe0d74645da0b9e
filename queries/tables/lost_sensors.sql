-- title = "Sensors lost track of"
-- row = "one sensor without an end whose readings stop a day or more before the cut-off"
-- section = "quality"
-- order = 3
-- note = "They are censored at their last reading. If you know how they ended, log it: survival depends on it."
-- [columns]
-- wearer = { label = "Wearer", class = "wearer" }
-- sensor = { label = "Sensor", class = "sensor" }
-- site = { label = "Site", class = "site" }
-- inserted = { label = "Inserted", class = "time" }
-- last_reading = { label = "Last reading", class = "time" }
SELECT wearer, sensor, site, inserted, last_reading
FROM sessions
WHERE state = 'lost track of'
ORDER BY wearer, inserted, sensor
