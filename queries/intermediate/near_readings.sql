-- title = "What is read near each fingerstick"
-- row = "one fingerstick and one sensor then worn that has a reading within the pairing limit of it"
-- role = "per-sensor"
-- [columns]
-- fingerstick_no = { class = "identifying", type = "integer" }
-- sensor_no = { class = "sensor", type = "integer" }
-- paired_time = { class = "time" }
-- paired = { class = "estimate" }
-- rate = { class = "estimate" }
-- nearest = { class = "estimate" }
-- low = { class = "category", type = "integer" }
-- high = { class = "category", type = "integer" }
-- cold = { class = "category", type = "integer" }

-- `paired`: the nearest reading that can be paired, the earlier of two as near; `nearest`: the nearest of all. `low`, `high`,
-- `cold`: whether one is beyond the sensor's range, or of the warm-up. `rate`: slope of the least-squares line through
-- the readings of the 15 minutes up to the paired one. They have to span 10 minutes; half a minute is allowed for clocks that
-- do not tick evenly.
WITH around AS (
    SELECT
        fingerstick_no,
        sensor_no,
        time,
        glucose,
        status,
        warm,
        minutes,
        at_most(ABS(minutes), pairing_minutes) AS near,
        warm AND status = 'ok' AS usable
    FROM around_checks
    WHERE at_most(minutes, pairing_minutes) AND at_most(-minutes, pairing_minutes + 15.5)
),
ranked AS (
    SELECT
        *,
        ROW_NUMBER() OVER nearest_first AS place,
        FIRST_VALUE(CASE WHEN near AND usable THEN time END) IGNORE NULLS OVER nearest_first AS paired_time
    FROM around
    WINDOW nearest_first AS (
        PARTITION BY sensor_no, fingerstick_no
        ORDER BY ABS(minutes), time
        ROWS BETWEEN UNBOUNDED PRECEDING AND UNBOUNDED FOLLOWING
    )
),
sloping AS (
    SELECT
        *,
        usable AND time <= paired_time AND minutes_between(time, paired_time) <= 15.5 AS before
    FROM ranked
)
SELECT
    fingerstick_no,
    sensor_no,
    MAX(paired_time) AS paired_time,
    MAX(CASE WHEN usable AND time = paired_time THEN glucose END) AS paired,
    CASE
        WHEN MAX(CASE WHEN before THEN minutes END) - MIN(CASE WHEN before THEN minutes END) >= 9.5
            THEN REGR_SLOPE(CASE WHEN before THEN glucose END, minutes)
    END AS rate,
    MAX(CASE WHEN place = 1 THEN glucose END) AS nearest,
    arrow_cast(MAX(CASE WHEN near AND warm AND status = 'low' THEN 1 ELSE 0 END), 'Int8') AS low,
    arrow_cast(MAX(CASE WHEN near AND warm AND status = 'high' THEN 1 ELSE 0 END), 'Int8') AS high,
    arrow_cast(MAX(CASE WHEN near AND NOT warm THEN 1 ELSE 0 END), 'Int8') AS cold
FROM sloping
GROUP BY sensor_no, fingerstick_no
HAVING MAX(CASE WHEN near THEN 1 ELSE 0 END) = 1
