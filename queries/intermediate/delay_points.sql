-- title = "Fingersticks against the slope of each sensor"
-- row = "one pair outside artefacts, with readings enough around it"
-- role = "per-sensor"
-- [columns]
-- wearer = { class = "wearer" }
-- site = { class = "site" }
-- sensor_no = { class = "sensor", type = "integer" }
-- fingerstick_no = { class = "identifying", type = "integer" }
-- level = { class = "estimate" }
-- ratio = { class = "estimate" }
-- slope = { class = "estimate" }
-- wide_slope = { class = "estimate" }

-- The window puts the rows into the order of the groups, so that one group is in memory at a time.
WITH quiet_pairs AS (
    SELECT p.wearer, p.site, p.sensor_no, p.fingerstick_no, p.fingerstick
    FROM artefacts AS a
    RIGHT ANTI JOIN compared_pairs AS p
        ON a.sensor_no = p.sensor_no AND p.fingerstick_time >= a.start AND p.fingerstick_time <= a."end"
),
sorted AS (
    SELECT
        sensor_no,
        fingerstick_no,
        minutes,
        glucose,
        ROW_NUMBER() OVER (PARTITION BY sensor_no, fingerstick_no ORDER BY minutes) AS position
    FROM around_checks
    WHERE status = 'ok' AND warm AND ABS(minutes) <= 45
),
points AS (
    SELECT sensor_no, fingerstick_no, delay_point(minutes, glucose) AS point
    FROM sorted
    WHERE position > 0
    GROUP BY sensor_no, fingerstick_no
)
SELECT
    q.wearer,
    q.site,
    q.sensor_no,
    q.fingerstick_no,
    get_field(p.point, 'level') AS level,
    q.fingerstick / get_field(p.point, 'level') AS ratio,
    get_field(p.point, 'slope') AS slope,
    get_field(p.point, 'wide_slope') AS wide_slope
FROM points AS p
INNER JOIN quiet_pairs AS q ON p.sensor_no = q.sensor_no AND p.fingerstick_no = q.fingerstick_no
WHERE get_field(p.point, 'level') IS NOT NULL
ORDER BY q.sensor_no, q.fingerstick_no
