-- title = "Sensor-nights that sites are compared by"
-- row = "one night of one sensor whose clock, unit and steps are not doubted"
-- role = "view"
-- [columns]
-- wearer = { class = "wearer" }
-- sensor = { class = "sensor" }
-- site = { class = "site" }
-- night = { class = "time", type = "date" }
-- night_start = { class = "time" }
-- night_end = { class = "time" }
-- readings = { class = "count" }
-- coverage = { class = "share" }
-- counted = { class = "category", type = "integer" }
-- wear_days = { class = "estimate" }
-- night_minutes = { class = "estimate" }
-- spacing_minutes = { class = "estimate" }
-- warm_minutes = { class = "estimate" }
-- warm_readings = { class = "count" }
-- low_readings = { class = "count" }
-- sensor_no = { class = "sensor", type = "integer" }
SELECT n.*
FROM left_out AS o
RIGHT ANTI JOIN sensor_nights AS n ON o.wearer = n.wearer AND o.sensor = n.sensor
