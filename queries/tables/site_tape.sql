-- title = "Coming off early, with and without tape"
-- row = "one site, or all of them, with or without tape"
-- section = "wear"
-- order = 7
-- note = "Came off: fell off, knocked off, or taken off because it was coming loose, up to the rated day. A sensor that was taped later counts without tape until then. Exact Poisson intervals. Nobody drew lots for tape: people tape what they fear for, and a site compares with itself only."
-- chart = { kind = "intervals", x = "per_100_days", y = "site", lower = "per_100_days_lower", upper = "per_100_days_upper", series = "tape" }
-- [columns]
-- site = { label = "Site", class = "site" }
-- tape = { label = "Tape", class = "category" }
-- sensors = { label = "Sensors", class = "count" }
-- days = { label = "Days worn", digits = 0, class = "estimate" }
-- came_off = { label = "Came off", class = "count" }
-- per_100_days = { label = "Came off per 100 days", digits = 1, class = "estimate" }
-- per_100_days_lower = { digits = 1, class = "lower" }
-- per_100_days_upper = { digits = 1, class = "upper" }
WITH later_tape AS (
    SELECT e.wearer, e.sensor, MIN(e.time) AS taped
    FROM wear_events AS e
    INNER JOIN sessions AS s ON s.wearer = e.wearer AND s.sensor = e.sensor
    WHERE e.event = 'tape' AND e.tape IN ('ring', 'cover') AND e.time >= s.inserted
    GROUP BY e.wearer, e.sensor
),
taped_lives AS (
    SELECT
        l.site,
        l.tape,
        l.day AS days,
        l.event AS came_off,
        CASE
            WHEN l.tape IN ('ring', 'cover') THEN 0.0
            WHEN days_between(l.inserted, t.taped) < l.day THEN days_between(l.inserted, t.taped)
        END AS taped_day
    FROM lives AS l
    LEFT JOIN later_tape AS t ON t.wearer = l.wearer AND t.sensor = l.sensor
),
stretches AS (
    SELECT site, 1 AS place, days - taped_day AS days, came_off
    FROM taped_lives
    WHERE taped_day IS NOT NULL
    UNION ALL
    SELECT
        site,
        CASE WHEN tape = 'not logged' THEN 3 ELSE 2 END AS place,
        COALESCE(taped_day, days) AS days,
        CASE WHEN taped_day IS NULL THEN came_off ELSE 0 END AS came_off
    FROM taped_lives
    WHERE taped_day IS NULL OR taped_day > 0
),
levels AS (
    SELECT * FROM stretches
    UNION ALL
    SELECT 'every site' AS site, place, days, came_off FROM stretches
),
totals AS (
    SELECT
        site,
        place,
        COUNT(*) AS sensors,
        SUM(days) AS days,
        SUM(came_off) AS came_off
    FROM levels
    GROUP BY site, place
)
SELECT
    t.site,
    CASE t.place WHEN 1 THEN 'with tape' WHEN 2 THEN 'without tape' ELSE 'not logged' END AS tape,
    t.sensors,
    t.days,
    t.came_off,
    100.0 * t.came_off / NULLIF(t.days, 0.0) AS per_100_days,
    100.0 * exact_poisson_lower(t.came_off) / NULLIF(t.days, 0.0) AS per_100_days_lower,
    100.0 * exact_poisson_upper(t.came_off) / NULLIF(t.days, 0.0) AS per_100_days_upper
FROM totals AS t
LEFT JOIN sites AS s ON s.site = t.site
ORDER BY s.position NULLS LAST, t.place
