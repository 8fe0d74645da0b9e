-- title = "Readings between a sensor's insertion and its end"
-- row = "one reading"
-- view = true
SELECT
    s.wearer,
    s.sensor,
    s.site,
    r.sensor_no,
    r.time,
    r.glucose,
    r.status
FROM readings AS r
INNER JOIN sessions AS s ON s.sensor_no = r.sensor_no
WHERE r.time >= s.inserted AND r.time <= s.worn_until
