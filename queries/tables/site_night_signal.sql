-- title = "Signal by day and by night, by site"
-- row = "one site"
-- section = "nights"
-- order = 7
-- note = "Readings captured, of those expected at each sensor's usual spacing from the end of its warm-up to its end or last reading. A night is lost where the sensor was worn for long enough to be counted and too few readings came through. Pressure on a sensor also cuts its signal: the worst nights can be the missing ones, so a site that loses many nights may have a worse rate than the one shown."
-- [columns]
-- site = { label = "Site", class = "site" }
-- sensors = { label = "Sensors", class = "count" }
-- day_share = { label = "Captured by day", unit = "share", digits = 1, class = "share" }
-- night_share = { label = "by night", unit = "share", digits = 1, class = "share" }
-- nights_worn = { label = "Sensor-nights worn", class = "count" }
-- nights_lost = { label = "lost to gaps", class = "count" }
-- lost_share = { label = "lost", unit = "share", digits = 1, class = "share" }
WITH nights_of AS (
    SELECT
        n.sensor_no,
        SUM(n.warm_minutes) AS minutes,
        SUM(n.warm_readings) AS readings,
        SUM(CASE
            WHEN n.counted = 1 OR at_least(n.warm_minutes, t.night_coverage * n.night_minutes) THEN 1
            ELSE 0
        END) AS nights_worn,
        SUM(n.counted) AS nights_counted
    FROM sensor_nights AS n
    INNER JOIN wearer_limits AS t ON t.wearer = n.wearer
    GROUP BY n.sensor_no
),
worn AS (
    SELECT
        s.site,
        s.sensor_no,
        p.spacing_minutes,
        GREATEST(minutes_between(s.warm_from, s.seen_until), 0.0) AS minutes,
        r.warm_readings AS readings
    FROM sessions AS s
    INNER JOIN sensor_spacing AS p ON p.sensor_no = s.sensor_no
    INNER JOIN sensor_readings AS r ON r.sensor_no = s.sensor_no
    WHERE p.spacing_minutes > 0
),
sums AS (
    SELECT
        w.site,
        COUNT(*) AS sensors,
        SUM(w.readings - COALESCE(n.readings, 0)) AS day_readings,
        SUM((w.minutes - COALESCE(n.minutes, 0.0)) / w.spacing_minutes) AS day_expected,
        SUM(COALESCE(n.readings, 0)) AS night_readings,
        SUM(COALESCE(n.minutes, 0.0) / w.spacing_minutes) AS night_expected,
        SUM(COALESCE(n.nights_worn, 0)) AS nights_worn,
        SUM(COALESCE(n.nights_worn - n.nights_counted, 0)) AS nights_lost
    FROM worn AS w
    LEFT JOIN nights_of AS n ON n.sensor_no = w.sensor_no
    GROUP BY w.site
)
SELECT
    t.site,
    t.sensors,
    CASE WHEN t.day_expected > 0 THEN LEAST(t.day_readings / t.day_expected, 1.0) END AS day_share,
    CASE WHEN t.night_expected > 0 THEN LEAST(t.night_readings / t.night_expected, 1.0) END AS night_share,
    t.nights_worn,
    t.nights_lost,
    1.0 * t.nights_lost / NULLIF(t.nights_worn, 0) AS lost_share
FROM sums AS t
INNER JOIN sites AS s ON s.site = t.site
ORDER BY s.position
