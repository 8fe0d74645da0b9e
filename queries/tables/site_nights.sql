-- title = "Night artefacts by site"
-- row = "one site"
-- section = "nights"
-- order = 1
-- note = "The rate leaves out artefacts that a fingerstick refuted. Its interval is exact for a Poisson count and takes nights as independent."
-- chart = { kind = "intervals", x = "rate_per_100", y = "site", lower = "rate_lower", upper = "rate_upper" }
-- [columns]
-- site = { label = "Site" }
-- sensors = { label = "Sensors" }
-- nights = { label = "Sensor-nights" }
-- artefacts = { label = "Artefacts" }
-- confirmed = { label = "Confirmed" }
-- undecided = { label = "Undecided" }
-- unchecked = { label = "Unchecked" }
-- refuted = { label = "Refuted" }
-- rate_per_100 = { label = "Per 100 sensor-nights", digits = 1 }
-- rate_lower = { label = "from", digits = 1 }
-- rate_upper = { label = "to", digits = 1 }
WITH counted_nights AS (
    SELECT site, COUNT(DISTINCT sensor_no) AS sensors, COUNT(*) AS nights
    FROM sensor_nights
    WHERE counted = 1
    GROUP BY site
),
found AS (
    SELECT
        site,
        SUM(CASE WHEN evidence = 'confirmed' THEN 1 ELSE 0 END) AS confirmed,
        SUM(CASE WHEN evidence = 'undecided' THEN 1 ELSE 0 END) AS undecided,
        SUM(CASE WHEN evidence = 'unchecked' THEN 1 ELSE 0 END) AS unchecked,
        SUM(CASE WHEN evidence = 'refuted' THEN 1 ELSE 0 END) AS refuted
    FROM night_artefacts
    WHERE counted = 1
    GROUP BY site
),
totals AS (
    SELECT
        w.site,
        COALESCE(n.sensors, 0) AS sensors,
        COALESCE(n.nights, 0) AS nights,
        COALESCE(f.confirmed + f.undecided + f.unchecked, 0) AS artefacts,
        COALESCE(f.confirmed, 0) AS confirmed,
        COALESCE(f.undecided, 0) AS undecided,
        COALESCE(f.unchecked, 0) AS unchecked,
        COALESCE(f.refuted, 0) AS refuted
    FROM (SELECT DISTINCT site FROM sessions) AS w
    LEFT JOIN counted_nights AS n ON n.site = w.site
    LEFT JOIN found AS f ON f.site = w.site
)
SELECT
    t.site,
    t.sensors,
    t.nights,
    t.artefacts,
    t.confirmed,
    t.undecided,
    t.unchecked,
    t.refuted,
    100.0 * t.artefacts / NULLIF(t.nights, 0) AS rate_per_100,
    100.0 * exact_poisson_lower(t.artefacts) / NULLIF(t.nights, 0) AS rate_lower,
    100.0 * exact_poisson_upper(t.artefacts) / NULLIF(t.nights, 0) AS rate_upper
FROM totals AS t
INNER JOIN sites AS s ON s.site = t.site
ORDER BY s.position
