-- title = "Night artefacts by side slept on, day of wear and tape"
-- row = "one site and one group of its nights"
-- section = "nights"
-- order = 5
-- note = "Counted nights; artefacts that a fingerstick refuted are left out. Side and posture are those noted on going to bed, where they were: nobody keeps them all night. Nights without a note of side, posture or tape are in none of those groups. Many groups are compared here: one that stands out by itself may be chance."
-- show = 120
-- [columns]
-- site = { label = "Site" }
-- split = { label = "Nights by" }
-- level = { label = "Group" }
-- sensors = { label = "Sensors" }
-- nights = { label = "Sensor-nights" }
-- artefacts = { label = "Artefacts" }
-- rate_per_100 = { label = "Per 100 sensor-nights", digits = 1 }
-- rate_per_100_lower = { digits = 1 }
-- rate_per_100_upper = { digits = 1 }
WITH totals AS (
    SELECT
        split,
        split_order,
        level,
        level_order,
        site,
        COUNT(DISTINCT sensor_no) AS sensors,
        COUNT(*) AS nights,
        SUM(artefacts) AS artefacts
    FROM sensor_night_groups
    GROUP BY split, split_order, level, level_order, site
)
SELECT
    t.site,
    t.split,
    t.level,
    t.sensors,
    t.nights,
    t.artefacts,
    100.0 * t.artefacts / t.nights AS rate_per_100,
    100.0 * exact_poisson_lower(t.artefacts) / t.nights AS rate_per_100_lower,
    100.0 * exact_poisson_upper(t.artefacts) / t.nights AS rate_per_100_upper
FROM totals AS t
INNER JOIN sites AS s ON s.site = t.site
ORDER BY s.position, t.split_order, t.level_order
