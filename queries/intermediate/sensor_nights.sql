-- title = "Nights with enough readings"
-- row = "one night of one sensor"
-- role = "per-sensor"
-- [columns]
-- wearer = { class = "wearer" }
-- sensor = { class = "sensor" }
-- site = { class = "site" }
-- night = { class = "time", type = "date" }
-- night_start = { class = "time" }
-- night_end = { class = "time" }
-- readings = { class = "count" }
-- coverage = { class = "share" }
-- counted = { class = "category", type = "integer" }
-- wear_days = { class = "estimate" }
-- night_minutes = { class = "estimate" }
-- spacing_minutes = { class = "estimate" }
-- warm_minutes = { class = "estimate" }
-- warm_readings = { class = "count" }
-- low_readings = { class = "count" }
-- sensor_no = { class = "sensor", type = "integer" }

-- Readings find their night by the hours of the epoch that the night touches.
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
        s.inserted,
        s.worn_until,
        s.warm_from,
        minutes_between(n.night_start, n.night_end) AS night_minutes,
        GREATEST(
            minutes_between(GREATEST(n.night_start, s.warm_from), LEAST(n.night_end, s.seen_until)),
            0.0
        ) AS warm_minutes,
        days_between(s.inserted, GREATEST(n.night_start, s.inserted)) AS wear_days,
        CAST(n.night_start AS BIGINT) / 3600000000 AS first_hour,
        (CAST(n.night_end AS BIGINT) - 1) / 3600000000 AS last_hour
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
hours AS (
    SELECT
        w.sensor_no,
        w.night,
        w.night_start,
        w.night_end,
        w.inserted,
        w.worn_until,
        w.warm_from,
        w.first_hour + k.value AS hour
    FROM generate_series(0, 49) AS k
    CROSS JOIN worn AS w
    WHERE w.first_hour + k.value <= w.last_hour
),
seen AS (
    SELECT sensor_no, time, glucose, CAST(time AS BIGINT) / 3600000000 AS hour
    FROM readings
    WHERE status IN ('ok', 'low', 'high')
),
counts AS (
    SELECT
        h.sensor_no,
        h.night,
        COUNT(*) AS readings,
        SUM(CASE WHEN r.time >= h.warm_from THEN 1 ELSE 0 END) AS warm_readings,
        SUM(CASE WHEN below(r.glucose, 70) THEN 1 ELSE 0 END) AS low_readings
    FROM hours AS h
    INNER JOIN seen AS r ON r.sensor_no = h.sensor_no AND r.hour = h.hour
    WHERE
        r.time >= h.night_start
        AND r.time < h.night_end
        AND r.time >= h.inserted
        AND r.time <= h.worn_until
    GROUP BY h.sensor_no, h.night
),
coverage AS (
    SELECT
        w.*,
        COALESCE(c.readings, 0) AS readings,
        COALESCE(c.warm_readings, 0) AS warm_readings,
        COALESCE(c.low_readings, 0) AS low_readings,
        COALESCE(c.readings, 0) * w.spacing_minutes / w.night_minutes AS coverage
    FROM worn AS w
    LEFT JOIN counts AS c ON c.sensor_no = w.sensor_no AND c.night = w.night
)
SELECT
    c.wearer,
    c.sensor,
    c.site,
    c.night,
    c.night_start,
    c.night_end,
    c.readings,
    c.coverage,
    CASE WHEN at_least(c.coverage, t.night_coverage) THEN 1 ELSE 0 END AS counted,
    c.wear_days,
    c.night_minutes,
    c.spacing_minutes,
    c.warm_minutes,
    c.warm_readings,
    c.low_readings,
    c.sensor_no
FROM coverage AS c
INNER JOIN wearer_limits AS t ON t.wearer = c.wearer
ORDER BY c.wearer, c.sensor, c.night
