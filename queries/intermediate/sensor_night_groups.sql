-- title = "What sensor-nights can be split by"
-- row = "one counted sensor-night and one way to split"
-- role = "intermediate"
-- [columns]
-- split = { class = "category" }
-- split_order = { class = "category", type = "integer" }
-- level = { class = "category" }
-- level_order = { class = "category", type = "integer" }
-- site = { class = "site" }
-- sensor_no = { class = "sensor", type = "integer" }
-- artefacts = { class = "count" }

-- The tape is the one put on last before the night. Posture and side are those noted on going to bed.
WITH artefacts_of AS (
    SELECT sensor_no, night, COUNT(*) AS artefacts
    FROM night_artefacts
    WHERE counted = 1 AND evidence <> 'refuted'
    GROUP BY sensor_no, night
),
tapes AS (
    SELECT
        n.sensor_no,
        n.night,
        e.tape,
        ROW_NUMBER() OVER (PARTITION BY n.sensor_no, n.night ORDER BY e.time DESC, e.tape) AS rank
    FROM wear_events AS e
    INNER JOIN compared_nights AS n ON n.wearer = e.wearer AND n.sensor = e.sensor
    WHERE n.counted = 1 AND e.event IN ('insert', 'tape') AND e.tape IS NOT NULL AND e.time <= n.night_start
),
facts AS (
    SELECT
        n.site,
        n.sensor_no,
        COALESCE(a.artefacts, 0) AS artefacts,
        n.wear_days,
        s.side,
        w.posture,
        COALESCE(t.tape, s.tape) AS tape
    FROM compared_nights AS n
    INNER JOIN sessions AS s ON s.sensor_no = n.sensor_no
    INNER JOIN nights AS w ON w.wearer = n.wearer AND w.night = n.night
    LEFT JOIN artefacts_of AS a ON a.sensor_no = n.sensor_no AND a.night = n.night
    LEFT JOIN tapes AS t ON t.sensor_no = n.sensor_no AND t.night = n.night AND t.rank = 1
    WHERE n.counted = 1
)
SELECT
    'side slept on' AS split,
    1 AS split_order,
    CASE WHEN side = posture THEN 'the sensor''s side' ELSE 'the other side' END AS level,
    CASE WHEN side = posture THEN 1 ELSE 2 END AS level_order,
    site,
    sensor_no,
    artefacts
FROM facts
WHERE side IN ('left', 'right') AND posture IN ('left', 'right')
UNION ALL
SELECT
    'posture in bed',
    2,
    posture,
    CASE posture WHEN 'back' THEN 1 WHEN 'left' THEN 2 WHEN 'right' THEN 3 WHEN 'front' THEN 4 ELSE 5 END,
    site,
    sensor_no,
    artefacts
FROM facts
WHERE posture IS NOT NULL
UNION ALL
SELECT
    'day of wear',
    3,
    CASE
        WHEN wear_days < 1 THEN '1'
        WHEN wear_days < 3 THEN '2-3'
        WHEN wear_days < 7 THEN '4-7'
        ELSE '8+'
    END,
    CASE WHEN wear_days < 1 THEN 1 WHEN wear_days < 3 THEN 2 WHEN wear_days < 7 THEN 3 ELSE 4 END,
    site,
    sensor_no,
    artefacts
FROM facts
UNION ALL
SELECT
    'tape',
    4,
    tape,
    CASE tape WHEN 'none' THEN 1 WHEN 'ring' THEN 2 ELSE 3 END,
    site,
    sensor_no,
    artefacts
FROM facts
WHERE tape IS NOT NULL
