-- title = "Runs of readings that fall off and recover faster than blood glucose can"
-- row = "one run of one sensor, by day or night"
-- role = "view"
-- [columns]
-- wearer = { class = "wearer" }
-- sensor = { class = "sensor" }
-- site = { class = "site" }
-- start = { class = "time" }
-- end = { class = "time" }
-- nadir_time = { class = "time" }
-- nadir = { class = "estimate" }
-- drop = { class = "estimate" }
-- height = { class = "estimate" }
-- fall_minutes = { class = "estimate" }
-- recovery_minutes = { class = "estimate" }
-- probability = { class = "share" }
-- sensor_no = { class = "sensor", type = "integer" }
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
