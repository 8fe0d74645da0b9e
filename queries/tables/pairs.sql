-- title = "Readings against fingersticks"
-- row = "one fingerstick and the nearest reading of one sensor"
-- section = "accuracy"
-- order = 1
-- note = "Difference is reading minus fingerstick: above zero, the sensor reads high."
-- chart = { kind = "points", x = "fingerstick", y = "difference", series = "site" }
-- show = 0
-- [columns]
-- fingerstick = { label = "Fingerstick", unit = "mg/dL", digits = 0, class = "estimate" }
-- reading = { label = "Reading", unit = "mg/dL", digits = 0, class = "estimate" }
-- difference = { label = "Reading minus fingerstick", unit = "mg/dL", digits = 0, class = "estimate" }
-- relative_difference = { label = "Relative difference", unit = "share", digits = 1, class = "estimate" }
-- wearer = { class = "wearer" }
-- sensor = { class = "sensor" }
-- site = { class = "site" }
-- fingerstick_time = { class = "time" }
-- reading_time = { class = "time" }
-- wear_days = { class = "estimate" }
-- sensor_no = { class = "sensor", type = "integer" }
-- fingerstick_no = { class = "identifying", type = "integer" }
WITH candidates AS (
    SELECT
        c.*,
        r.time AS reading_time,
        r.glucose AS reading,
        ROW_NUMBER() OVER (
            PARTITION BY r.fingerstick_no, r.sensor_no
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
SELECT
    wearer,
    sensor,
    site,
    fingerstick_time,
    reading_time,
    fingerstick,
    reading,
    reading - fingerstick AS difference,
    (reading - fingerstick) / fingerstick AS relative_difference,
    days_between(inserted, reading_time) AS wear_days,
    sensor_no,
    fingerstick_no
FROM candidates
WHERE rank = 1
ORDER BY wearer, fingerstick_time, fingerstick_no, sensor
