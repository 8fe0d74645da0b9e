-- title = "Readings between a sensor's insertion and its end"
-- row = "one reading"
-- role = "view"
-- [columns]
-- sensor_no = { class = "sensor", type = "integer" }
-- time = { class = "time" }
-- glucose = { class = "estimate" }
-- status = { class = "category" }
SELECT
    r.sensor_no,
    r.time,
    r.glucose,
    r.status
FROM sessions AS s
INNER JOIN readings AS r ON r.sensor_no = s.sensor_no
WHERE r.time >= s.inserted AND r.time <= s.worn_until
