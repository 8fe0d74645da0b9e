-- title = "Usual spacing of each sensor's readings"
-- row = "one sensor"
-- role = "per-sensor"
-- [columns]
-- sensor_no = { class = "sensor", type = "integer" }
-- spacing_minutes = { class = "estimate" }
WITH steps AS (
    SELECT
        sensor_no,
        minutes_between(LAG(time) OVER (PARTITION BY sensor_no ORDER BY time), time) AS step_minutes
    FROM session_readings
)
SELECT sensor_no, MEDIAN(step_minutes) AS spacing_minutes
FROM steps
GROUP BY sensor_no
