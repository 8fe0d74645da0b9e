-- title = "How fast each paired reading was moving"
-- row = "one pair whose sensor has readings over the quarter of an hour before"
-- role = "per-sensor"
-- [columns]
-- fingerstick_no = { class = "identifying", type = "integer" }
-- sensor_no = { class = "sensor", type = "integer" }
-- rate = { class = "estimate" }

SELECT p.fingerstick_no, p.sensor_no, n.rate
FROM near_readings AS n
INNER JOIN compared_pairs AS p ON p.fingerstick_no = n.fingerstick_no AND p.sensor_no = n.sensor_no
WHERE n.rate IS NOT NULL
