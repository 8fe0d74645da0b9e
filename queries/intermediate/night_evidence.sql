-- title = "Night artefacts with what fingersticks say of them, by setting of the detector"
-- row = "one run of readings in one night, under one setting"
-- role = "intermediate"
-- [columns]
-- setting = { class = "category" }
-- wearer = { class = "wearer" }
-- sensor = { class = "sensor" }
-- site = { class = "site" }
-- night = { class = "time", type = "date" }
-- start = { class = "time" }
-- end = { class = "time" }
-- nadir = { class = "estimate" }
-- drop = { class = "estimate" }
-- evidence = { class = "category" }
-- counted = { class = "category", type = "integer" }
-- nadir_time = { class = "time" }
-- fall_minutes = { class = "estimate" }
-- recovery_minutes = { class = "estimate" }
-- probability = { class = "share" }
-- sensor_no = { class = "sensor", type = "integer" }
WITH at_night AS (
    SELECT a.*, n.night
    FROM artefacts_by_setting AS a
    INNER JOIN nights AS n ON n.wearer = a.wearer
    CROSS JOIN settings AS t
    WHERE a.nadir_time >= n.night_start AND a.nadir_time < n.night_end AND n.night_end <= t.month_end
),
checked AS (
    SELECT
        a.setting,
        a.wearer,
        a.sensor_no,
        a.start,
        c.fingerstick_no,
        c.fingerstick
    FROM at_night AS a
    INNER JOIN checks_worn AS c
        ON c.sensor_no = a.sensor_no AND c.fingerstick_time >= a.start AND c.fingerstick_time <= a."end"
    WHERE c.purpose <> 'control'
),
checked_sensors AS (
    SELECT DISTINCT setting, sensor_no FROM checked
),
checked_pairs AS (
    SELECT u.setting, p.sensor_no, p.fingerstick_time, p.relative_difference
    FROM checked_sensors AS u
    INNER JOIN pairs AS p ON p.sensor_no = u.sensor_no
),
clean_pairs AS (
    SELECT p.setting, p.sensor_no, p.relative_difference
    FROM at_night AS a
    RIGHT ANTI JOIN checked_pairs AS p
        ON p.setting = a.setting
        AND p.sensor_no = a.sensor_no
        AND p.fingerstick_time >= a.start
        AND p.fingerstick_time <= a."end"
),
gains AS (
    SELECT setting, sensor_no, CASE WHEN COUNT(*) >= 5 THEN MEDIAN(relative_difference) ELSE 0 END AS relative_bias
    FROM clean_pairs
    GROUP BY setting, sensor_no
),
checks AS (
    SELECT
        k.setting,
        k.sensor_no,
        k.start,
        k.fingerstick * (1 + COALESCE(g.relative_bias, 0)) AS expected,
        r.nearest AS reading
    FROM checked AS k
    INNER JOIN near_readings AS r ON r.fingerstick_no = k.fingerstick_no AND r.sensor_no = k.sensor_no
    LEFT JOIN gains AS g ON g.setting = k.setting AND g.sensor_no = k.sensor_no
),
verdicts AS (
    SELECT
        setting,
        sensor_no,
        start,
        MAX(CASE
            WHEN below(expected - reading, 10) AND below(expected - reading, 0.1 * reading) THEN 1
            ELSE 0
        END) AS blood_was_low,
        MAX(CASE
            WHEN at_least(expected - reading, 20) AND at_least(expected - reading, 0.2 * reading) THEN 1
            ELSE 0
        END) AS blood_was_not
    FROM checks
    GROUP BY setting, sensor_no, start
)
SELECT
    a.setting,
    a.wearer,
    a.sensor,
    a.site,
    a.night,
    a.start,
    a."end",
    a.nadir,
    a.drop,
    CASE
        WHEN v.sensor_no IS NULL THEN 'unchecked'
        WHEN v.blood_was_low = 1 THEN 'refuted'
        WHEN v.blood_was_not = 1 THEN 'confirmed'
        ELSE 'undecided'
    END AS evidence,
    COALESCE(n.counted, 0) AS counted,
    a.nadir_time,
    a.fall_minutes,
    a.recovery_minutes,
    a.probability,
    a.sensor_no
FROM at_night AS a
LEFT JOIN verdicts AS v ON v.setting = a.setting AND v.sensor_no = a.sensor_no AND v.start = a.start
LEFT JOIN sensor_nights AS n ON n.sensor_no = a.sensor_no AND n.night = a.night
ORDER BY a.setting, a.wearer, a.sensor, a.start, a.night
