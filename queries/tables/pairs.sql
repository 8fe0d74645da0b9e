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
SELECT
    c.wearer,
    c.sensor,
    c.site,
    c.fingerstick_time,
    c.paired_time AS reading_time,
    c.fingerstick,
    c.paired AS reading,
    c.paired - c.fingerstick AS difference,
    (c.paired - c.fingerstick) / c.fingerstick AS relative_difference,
    days_between(s.inserted, c.paired_time) AS wear_days,
    c.sensor_no,
    c.fingerstick_no
FROM sessions AS s
INNER JOIN (
    SELECT c.*, n.paired_time, n.paired
    FROM near_readings AS n
    INNER JOIN checks_worn AS c ON c.fingerstick_no = n.fingerstick_no AND c.sensor_no = n.sensor_no
    WHERE n.paired IS NOT NULL AND c.purpose NOT IN ('calibration', 'control')
) AS c ON c.sensor_no = s.sensor_no
ORDER BY c.wearer, c.fingerstick_time, c.fingerstick_no, c.sensor
