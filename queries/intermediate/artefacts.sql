-- title = "Runs of readings that fall off and recover faster than blood glucose can"
-- row = "one run of one sensor, by day or night"
-- role = "view"
SELECT
    wearer,
    sensor,
    site,
    start,
    "end",
    nadir_time,
    nadir,
    drop,
    height,
    fall_minutes,
    recovery_minutes,
    probability,
    sensor_no
FROM artefacts_by_setting
WHERE setting = 'standard'
