-- title = "The usual day of the last four weeks"

-- The rate is over the quarter of an hour before where readings are 5 minutes apart, else over the reading before.
WITH recent AS (
    SELECT
        r.wearer,
        r.time,
        r.glucose,
        LAG(r.glucose, 3) OVER (PARTITION BY r.sensor_no ORDER BY r.time) AS glucose_3,
        LAG(r.time, 3) OVER (PARTITION BY r.sensor_no ORDER BY r.time) AS time_3,
        LAG(r.glucose, 1) OVER (PARTITION BY r.sensor_no ORDER BY r.time) AS glucose_1,
        LAG(r.time, 1) OVER (PARTITION BY r.sensor_no ORDER BY r.time) AS time_1
    FROM readings AS r
    CROSS JOIN settings AS t
    WHERE r.status = 'ok' AND r.time > plus_hours(t.cutoff, -672.0)
),
rates AS (
    SELECT
        wearer,
        time,
        glucose,
        ABS(CASE
            WHEN minutes_between(time_3, time) <= 20 THEN (glucose - glucose_3) / minutes_between(time_3, time)
            WHEN minutes_between(time_1, time) <= 20 THEN (glucose - glucose_1) / minutes_between(time_1, time)
        END) AS pace
    FROM recent
),
classes AS (
    SELECT
        r.wearer,
        clock_hour(r.time, t.timezone) AS hour,
        CASE
            WHEN r.glucose < 70 * (1 - 1e-9) THEN 0
            WHEN r.glucose <= 180 * (1 + 1e-9) THEN 1
            ELSE 2
        END AS level,
        CASE WHEN r.pace <= 1 + 1e-9 THEN 0 WHEN r.pace <= 2 * (1 + 1e-9) THEN 1 ELSE 2 END AS pace
    FROM rates AS r
    CROSS JOIN settings AS t
    WHERE r.pace IS NOT NULL
)
SELECT wearer, hour, level, pace, COUNT(*) AS readings
FROM classes
GROUP BY wearer, hour, level, pace
ORDER BY wearer, hour, level, pace
