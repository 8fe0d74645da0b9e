-- title = "Usual spacing of each sensor's readings"
-- row = "one sensor"
-- show = 0
WITH steps AS (
    SELECT
        wearer,
        sensor,
        sensor_no,
        minutes_between(LAG(time) OVER (PARTITION BY sensor_no ORDER BY time), time) AS step_minutes
    FROM session_readings
)
SELECT wearer, sensor, sensor_no, MEDIAN(step_minutes) AS spacing_minutes, COUNT(*) AS readings
FROM steps
GROUP BY wearer, sensor, sensor_no
ORDER BY wearer, sensor
