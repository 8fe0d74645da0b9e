-- title = "How high each sensor's readings are"
-- row = "one sensor and level of 5 mg/dL that it showed"
-- role = "per-sensor"
-- [columns]
-- sensor_no = { class = "sensor", type = "integer" }
-- level = { class = "estimate" }
-- rank = { class = "share" }

-- `rank`: the share of the sensor's readings below the middle of the level.
WITH levels AS (
    SELECT sensor_no, FLOOR(glucose / 5.0) AS level, CAST(COUNT(*) AS DOUBLE) AS readings
    FROM session_readings
    WHERE status = 'ok'
    GROUP BY sensor_no, FLOOR(glucose / 5.0)
)
SELECT
    sensor_no,
    level,
    (SUM(readings) OVER (PARTITION BY sensor_no ORDER BY level) - 0.5 * readings)
    / SUM(readings) OVER (PARTITION BY sensor_no) AS rank
FROM levels
