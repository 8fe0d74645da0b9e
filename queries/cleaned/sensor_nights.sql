-- title = "Nights with enough readings"
-- row = "one night of one sensor"
-- show = 0

-- Readings find their night by the UTC days that the night touches.
WITH worn AS (
    SELECT
        s.wearer,
        s.sensor,
        s.site,
        s.sensor_no,
        n.night,
        n.night_start,
        n.night_end,
        p.spacing_minutes,
        CAST(n.night_start AS BIGINT) / 86400000000 AS first_day,
        (CAST(n.night_end AS BIGINT) - 1) / 86400000000 AS last_day
    FROM sessions AS s
    INNER JOIN nights AS n ON n.wearer = s.wearer
    INNER JOIN sensor_spacing AS p ON p.sensor_no = s.sensor_no
    CROSS JOIN settings AS t
    WHERE
        n.night_start < s.seen_until
        AND n.night_end > s.inserted
        AND n.night_end <= t.month_end
        AND n.night_end > n.night_start
),
days AS (
    SELECT *, first_day + step AS day
    FROM worn
    CROSS JOIN (VALUES (0), (1), (2)) AS k (step)
    WHERE first_day + step <= last_day
),
seen AS (
    SELECT sensor_no, time, CAST(time AS BIGINT) / 86400000000 AS day
    FROM session_readings
    WHERE status IN ('ok', 'low', 'high')
),
counts AS (
    SELECT d.wearer, d.sensor, d.night, COUNT(*) AS readings
    FROM seen AS r
    INNER JOIN days AS d ON d.sensor_no = r.sensor_no AND d.day = r.day
    WHERE r.time >= d.night_start AND r.time < d.night_end
    GROUP BY d.wearer, d.sensor, d.night
),
coverage AS (
    SELECT
        w.*,
        COALESCE(c.readings, 0) AS readings,
        COALESCE(c.readings, 0) * w.spacing_minutes / minutes_between(w.night_start, w.night_end) AS coverage
    FROM worn AS w
    LEFT JOIN counts AS c ON c.wearer = w.wearer AND c.sensor = w.sensor AND c.night = w.night
)
SELECT
    wearer,
    sensor,
    site,
    night,
    night_start,
    night_end,
    readings,
    coverage,
    CASE WHEN coverage >= t.night_coverage * (1 - 1e-9) THEN 1 ELSE 0 END AS counted,
    sensor_no
FROM coverage
CROSS JOIN settings AS t
ORDER BY wearer, sensor, night
