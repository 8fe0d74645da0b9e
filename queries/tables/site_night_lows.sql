-- title = "Time below {70 mg/dL} at night, by site"
-- row = "one site"
-- section = "nights"
-- order = 6
-- note = "Counted nights. The first figure counts every reading and is the one to go by. The second takes off readings within artefacts that a fingerstick confirmed, and nothing else: an artefact that nobody checked may have been a true low. Treat every low as true until a fingerstick says otherwise."
-- [columns]
-- site = { label = "Site", class = "site" }
-- nights = { label = "Sensor-nights", class = "count" }
-- readings = { label = "Readings", hidden = true, class = "count" }
-- low_share = { label = "Below {70 mg/dL}, every reading", unit = "share", digits = 2, class = "share" }
-- low_minutes = { label = "Minutes a night, every reading", unit = "min", digits = 1, class = "estimate" }
-- low_share_less_confirmed = { label = "Below {70 mg/dL}, confirmed artefacts taken off", unit = "share", digits = 2, class = "share" }
-- low_minutes_less_confirmed = { label = "Minutes a night, confirmed artefacts taken off", unit = "min", digits = 1, class = "estimate" }
WITH nights_of AS (
    SELECT
        site,
        COUNT(*) AS nights,
        SUM(readings) AS readings,
        SUM(low_readings) AS low_readings,
        SUM(low_readings * spacing_minutes) AS low_minutes
    FROM compared_nights
    WHERE counted = 1
    GROUP BY site
),
confirmed AS (
    SELECT site, SUM(low_readings) AS low_readings, SUM(low_minutes) AS low_minutes
    FROM artefact_lows
    WHERE evidence = 'confirmed'
    GROUP BY site
)
SELECT
    n.site,
    n.nights,
    n.readings,
    1.0 * n.low_readings / n.readings AS low_share,
    n.low_minutes / n.nights AS low_minutes,
    1.0 * (n.low_readings - COALESCE(c.low_readings, 0)) / n.readings AS low_share_less_confirmed,
    (n.low_minutes - COALESCE(c.low_minutes, 0)) / n.nights AS low_minutes_less_confirmed
FROM nights_of AS n
INNER JOIN sites AS s ON s.site = n.site
LEFT JOIN confirmed AS c ON c.site = n.site
ORDER BY s.position
