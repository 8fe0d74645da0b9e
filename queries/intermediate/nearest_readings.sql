-- title = "The reading that each fingerstick is paired with"
-- row = "one fingerstick and one sensor then worn that has a usable reading near it"
-- role = "per-sensor"
-- [columns]
-- fingerstick_no = { class = "identifying", type = "integer" }
-- sensor_no = { class = "sensor", type = "integer" }
-- time = { class = "time" }
-- glucose = { class = "estimate" }
WITH candidates AS (
    SELECT
        r.fingerstick_no,
        r.sensor_no,
        r.time,
        r.glucose,
        ROW_NUMBER() OVER (
            PARTITION BY r.sensor_no, r.fingerstick_no
            ORDER BY ABS(r.minutes), r.time
        ) AS rank
    FROM near_readings AS r
    INNER JOIN checks_worn AS c ON c.fingerstick_no = r.fingerstick_no AND c.sensor_no = r.sensor_no
    INNER JOIN wearer_limits AS t ON t.wearer = c.wearer
    WHERE
        r.status = 'ok'
        AND r.warm
        AND c.purpose NOT IN ('calibration', 'control')
        AND at_most(ABS(r.minutes), t.pairing_minutes)
)
SELECT fingerstick_no, sensor_no, time, glucose
FROM candidates
WHERE rank = 1
