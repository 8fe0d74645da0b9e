-- title = "Delay of each sensor"
-- row = "one sensor of which enough is known"
-- role = "per-sensor"
-- [columns]
-- sensor_no = { class = "sensor", type = "integer" }
-- minutes = { class = "estimate" }
-- weight = { class = "estimate" }
WITH fits AS (
    SELECT sensor_no, sensor_delay(sensor_no, level, ratio, slope, wide_slope) AS delay
    FROM delay_points
    GROUP BY sensor_no
)
SELECT sensor_no, get_field(delay, 'minutes') AS minutes, get_field(delay, 'weight') AS weight
FROM fits
WHERE get_field(delay, 'minutes') IS NOT NULL
