-- title = "Runs of readings that fall off and recover faster than blood glucose can"
-- row = "one run of one sensor, by day or night"
-- show = 0
WITH marked AS (
    SELECT
        wearer,
        sensor,
        site,
        sensor_no,
        time,
        night_artefact(time, glucose, status) OVER (PARTITION BY sensor_no ORDER BY time) AS found
    FROM session_readings
    WHERE status IN ('ok', 'low', 'high')
)
SELECT
    wearer,
    sensor,
    site,
    time AS start,
    get_field(found, 'artefact_end') AS "end",
    get_field(found, 'nadir_time') AS nadir_time,
    get_field(found, 'nadir') AS nadir,
    get_field(found, 'drop') AS drop,
    get_field(found, 'fall_minutes') AS fall_minutes,
    get_field(found, 'recovery_minutes') AS recovery_minutes,
    get_field(found, 'probability') AS probability,
    sensor_no
FROM marked
WHERE found IS NOT NULL
ORDER BY wearer, sensor, time
