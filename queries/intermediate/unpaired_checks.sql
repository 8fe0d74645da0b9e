-- title = "Fingersticks that found no reading to pair with"
-- row = "one fingerstick and one sensor then worn, or one fingerstick, without its number, while none was worn"
-- role = "intermediate"
-- [columns]
-- fingerstick_no = { class = "identifying", type = "integer" }
-- wearer = { class = "wearer" }
-- sensor = { class = "sensor" }
-- site = { class = "site" }
-- sensor_no = { class = "sensor", type = "integer" }
-- fingerstick = { class = "estimate" }
-- reason = { class = "category" }
WITH unpaired AS (
    SELECT c.*
    FROM pairs AS p
    RIGHT ANTI JOIN checks_worn AS c ON c.fingerstick_no = p.fingerstick_no AND c.sensor_no = p.sensor_no
),
worn AS (
    SELECT
        c.*,
        s.state = 'lost track of' AND c.fingerstick_time > s.seen_until AS lost,
        c.fingerstick_time < s.warm_from AS cold
    FROM sessions AS s
    INNER JOIN unpaired AS c ON c.wearer = s.wearer AND c.sensor = s.sensor
)
SELECT
    w.fingerstick_no,
    w.wearer,
    w.sensor,
    w.site,
    w.sensor_no,
    w.fingerstick,
    CASE
        WHEN w.purpose IN ('calibration', 'control') THEN 'calibration or control'
        WHEN w.lost THEN 'sensor lost track of'
        WHEN n.low = 1 THEN 'reading low'
        WHEN n.high = 1 THEN 'reading high'
        WHEN w.cold OR n.cold = 1 THEN 'warm-up'
        ELSE 'gap in the readings'
    END AS reason
FROM worn AS w
LEFT JOIN near_readings AS n ON n.fingerstick_no = w.fingerstick_no AND n.sensor_no = w.sensor_no
UNION ALL
SELECT
    NULL AS fingerstick_no,
    f.wearer,
    CAST(NULL AS VARCHAR) AS sensor,
    CAST(NULL AS VARCHAR) AS site,
    CAST(NULL AS INT) AS sensor_no,
    f.glucose AS fingerstick,
    CASE
        WHEN f.purpose IN ('calibration', 'control') THEN 'calibration or control'
        ELSE 'no sensor worn'
    END AS reason
FROM sessions AS s
RIGHT ANTI JOIN fingersticks AS f
    ON f.wearer = s.wearer AND f.time >= s.inserted AND f.time <= s.worn_until
