-- title = "Sensors worn at once"
-- row = "two sensors of one wearer, the hours in which both were worn and warm"
-- role = "per-wearer"
-- [columns]
-- wearer = { class = "wearer" }
-- first_site = { class = "site" }
-- second_site = { class = "site" }
-- first_sensor = { class = "sensor" }
-- second_sensor = { class = "sensor" }
-- first_no = { class = "sensor", type = "integer" }
-- second_no = { class = "sensor", type = "integer" }
-- both_from = { class = "time" }
-- both_until = { class = "time" }
-- spacing_minutes = { class = "estimate" }
-- half_spacing = { class = "estimate", type = "integer" }

-- The first is the one whose site comes first in reports, of one site the one inserted first.
WITH worn AS (
    SELECT s.wearer, s.sensor, s.sensor_no, s.site, s.inserted, s.warm_from, s.seen_until, x.position, p.spacing_minutes
    FROM sessions AS s
    INNER JOIN sites AS x ON x.site = s.site
    INNER JOIN sensor_spacing AS p ON p.sensor_no = s.sensor_no
)
SELECT
    a.wearer,
    a.site AS first_site,
    b.site AS second_site,
    a.sensor AS first_sensor,
    b.sensor AS second_sensor,
    a.sensor_no AS first_no,
    b.sensor_no AS second_no,
    GREATEST(a.warm_from, b.warm_from) AS both_from,
    LEAST(a.seen_until, b.seen_until) AS both_until,
    GREATEST(a.spacing_minutes, b.spacing_minutes) AS spacing_minutes,
    CAST(ROUND(30000000 * LEAST(a.spacing_minutes, b.spacing_minutes)) AS BIGINT) AS half_spacing
FROM worn AS a
INNER JOIN worn AS b ON b.wearer = a.wearer
WHERE
    (
        a.position < b.position
        OR (a.position = b.position AND a.inserted < b.inserted)
        OR (a.position = b.position AND a.inserted = b.inserted AND a.sensor < b.sensor)
    )
    AND GREATEST(a.warm_from, b.warm_from) < LEAST(a.seen_until, b.seen_until)
    AND LEAST(a.spacing_minutes, b.spacing_minutes) > 0
ORDER BY a.wearer, both_from, a.sensor_no, b.sensor_no
