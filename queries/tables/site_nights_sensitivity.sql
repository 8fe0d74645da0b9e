-- title = "Would a looser or stricter detector rank the sites otherwise?"
-- row = "one site under one setting of the detector"
-- section = "nights"
-- order = 10
-- note = "The same runs of readings, counted from another probability on: looser counts less sure ones too, stricter the surest only. Rank 1 has the lowest rate; equal rates share a rank. Where the rank of a site changes with the setting, the detector decides and not the site."
-- [columns]
-- site = { label = "Site", class = "site" }
-- setting = { label = "Detector", class = "category" }
-- nights = { label = "Sensor-nights", class = "count" }
-- artefacts = { label = "Artefacts", class = "count" }
-- rate_per_100 = { label = "Per 100 sensor-nights", digits = 1, class = "estimate" }
-- rate_per_100_lower = { digits = 1, class = "lower" }
-- rate_per_100_upper = { digits = 1, class = "upper" }
-- rank = { label = "Rank", class = "category", type = "integer" }
WITH detectors AS (
    SELECT setting, place
    FROM (VALUES ('looser', 1), ('standard', 2), ('stricter', 3)) AS v (setting, place)
),
nights_of AS (
    SELECT site, COUNT(*) AS nights
    FROM compared_nights
    WHERE counted = 1
    GROUP BY site
),
found AS (
    SELECT setting, site, COUNT(*) AS artefacts
    FROM night_evidence
    WHERE counted = 1 AND evidence <> 'refuted'
    GROUP BY setting, site
),
rates AS (
    SELECT
        n.site,
        d.setting,
        d.place,
        n.nights,
        COALESCE(f.artefacts, 0) AS artefacts,
        100.0 * COALESCE(f.artefacts, 0) / n.nights AS rate_per_100
    FROM nights_of AS n
    CROSS JOIN detectors AS d
    LEFT JOIN found AS f ON f.site = n.site AND f.setting = d.setting
)
SELECT
    r.site,
    r.setting,
    r.nights,
    r.artefacts,
    r.rate_per_100,
    100.0 * exact_poisson_lower(r.artefacts) / r.nights AS rate_per_100_lower,
    100.0 * exact_poisson_upper(r.artefacts) / r.nights AS rate_per_100_upper,
    RANK() OVER (PARTITION BY r.setting ORDER BY r.rate_per_100) AS rank
FROM rates AS r
INNER JOIN sites AS s ON s.site = r.site
ORDER BY s.position, r.place
