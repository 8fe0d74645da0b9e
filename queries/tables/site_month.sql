-- title = "This month's own rows"
-- row = "one site"
-- section = "changes"
-- order = 9
-- note = "Everything else in the report counts all months up to this one."
-- [columns]
-- site = { label = "Site", class = "site" }
-- inserted = { label = "Sensors inserted", class = "count" }
-- ended = { label = "ended", class = "count" }
-- came_off = { label = "of these came off", class = "count" }
-- pairs = { label = "Pairs", class = "count" }
-- mean_difference = { label = "Mean difference", unit = "mg/dL", digits = 1, class = "estimate" }
-- nights = { label = "Sensor-nights", class = "count" }
-- artefacts = { label = "Night artefacts", class = "count" }
WITH sessions_of_month AS (
    SELECT
        s.site,
        SUM(CASE WHEN s.inserted > t.month_start THEN 1 ELSE 0 END) AS inserted,
        SUM(CASE WHEN s.ended > t.month_start THEN 1 ELSE 0 END) AS ended,
        SUM(CASE WHEN s.ended > t.month_start AND s.detached = 1 THEN 1 ELSE 0 END) AS came_off
    FROM sessions AS s
    CROSS JOIN settings AS t
    GROUP BY s.site
),
pairs_of_month AS (
    SELECT p.site, COUNT(*) AS pairs, AVG(p.difference) AS mean_difference
    FROM pairs AS p
    CROSS JOIN settings AS t
    WHERE p.fingerstick_time > t.month_start
    GROUP BY p.site
),
nights_of_month AS (
    SELECT n.site, COUNT(*) AS nights
    FROM sensor_nights AS n
    CROSS JOIN settings AS t
    WHERE n.counted = 1 AND n.night_end > t.month_start
    GROUP BY n.site
),
artefacts_of_month AS (
    SELECT a.site, COUNT(*) AS artefacts
    FROM night_artefacts AS a
    INNER JOIN sensor_nights AS n ON n.sensor_no = a.sensor_no AND n.night = a.night
    CROSS JOIN settings AS t
    WHERE a.counted = 1 AND a.evidence <> 'refuted' AND n.night_end > t.month_start
    GROUP BY a.site
)
SELECT
    s.site,
    s.inserted,
    s.ended,
    s.came_off,
    COALESCE(p.pairs, 0) AS pairs,
    p.mean_difference,
    COALESCE(n.nights, 0) AS nights,
    COALESCE(a.artefacts, 0) AS artefacts
FROM sessions_of_month AS s
INNER JOIN sites AS x ON x.site = s.site
LEFT JOIN pairs_of_month AS p ON p.site = s.site
LEFT JOIN nights_of_month AS n ON n.site = s.site
LEFT JOIN artefacts_of_month AS a ON a.site = s.site
ORDER BY x.position
