-- title = "Bumps and knocks, by site"
-- row = "one site"
-- section = "wear"
-- order = 8
-- note = "As logged while the sensor was worn; the interval is exact for a Poisson count and takes bumps as independent."
-- chart = { kind = "intervals", x = "per_100_days", y = "site", lower = "per_100_days_lower", upper = "per_100_days_upper" }
-- [columns]
-- site = { label = "Site", class = "site" }
-- sensors = { label = "Sensors", class = "count" }
-- days = { label = "Days worn", digits = 0, class = "estimate" }
-- bumps = { label = "Bumps", class = "count" }
-- per_100_days = { label = "Bumps per 100 days", digits = 1, class = "estimate" }
-- per_100_days_lower = { digits = 1, class = "lower" }
-- per_100_days_upper = { digits = 1, class = "upper" }
-- bumped = { label = "Sensors bumped", class = "count" }
-- ended = { label = "of these ended within a day of it", class = "count" }
WITH bumps AS (
    SELECT
        e.wearer,
        e.sensor,
        COUNT(*) AS bumps,
        MAX(
            CASE
                WHEN s.cause IN ('fell-off', 'knocked-off', 'lifted', 'sensor-fault')
                    AND at_most(minutes_between(e.time, s.ended), 1440)
                    THEN 1
                ELSE 0
            END
        ) AS ended
    FROM wear_events AS e
    INNER JOIN sessions AS s ON s.wearer = e.wearer AND s.sensor = e.sensor
    WHERE e.event = 'bump' AND e.time >= s.inserted AND e.time <= s.worn_until
    GROUP BY e.wearer, e.sensor
),
totals AS (
    SELECT
        s.site,
        COUNT(*) AS sensors,
        SUM(s.days) AS days,
        CAST(COALESCE(SUM(b.bumps), 0) AS BIGINT) AS bumps,
        COUNT(b.bumps) AS bumped,
        COALESCE(SUM(b.ended), 0) AS ended
    FROM sessions AS s
    LEFT JOIN bumps AS b ON b.wearer = s.wearer AND b.sensor = s.sensor
    GROUP BY s.site
),
-- Without a single bump in the log, nobody wrote bumps down.
logged AS (
    SELECT SUM(bumps) AS bumps FROM totals
)
SELECT
    t.site,
    t.sensors,
    t.days,
    t.bumps,
    100.0 * t.bumps / NULLIF(t.days, 0.0) AS per_100_days,
    100.0 * exact_poisson_lower(t.bumps) / NULLIF(t.days, 0.0) AS per_100_days_lower,
    100.0 * exact_poisson_upper(t.bumps) / NULLIF(t.days, 0.0) AS per_100_days_upper,
    t.bumped,
    t.ended
FROM totals AS t
INNER JOIN sites AS s ON s.site = t.site
CROSS JOIN logged AS l
WHERE l.bumps > 0
ORDER BY s.position
