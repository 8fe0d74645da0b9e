-- title = "Fingersticks and the sensors worn at the time"
-- row = "one fingerstick and one sensor that its wearer then wore"
-- role = "intermediate"
-- [columns]
-- fingerstick_no = { class = "identifying", type = "integer" }
-- wearer = { class = "wearer" }
-- sensor = { class = "sensor" }
-- site = { class = "site" }
-- sensor_no = { class = "sensor", type = "integer" }
-- fingerstick_time = { class = "time" }
-- fingerstick = { class = "estimate" }
-- purpose = { class = "category" }
SELECT
    n.fingerstick_no,
    n.wearer,
    s.sensor,
    s.site,
    s.sensor_no,
    n.time AS fingerstick_time,
    n.glucose AS fingerstick,
    n.purpose
FROM numbered_fingersticks AS n
INNER JOIN sessions AS s ON s.wearer = n.wearer
WHERE n.time >= s.inserted AND n.time <= s.worn_until
ORDER BY n.fingerstick_no, s.sensor
