-- title = "Night artefacts by side slept on, day of wear and tape"
-- row = "one site and one group of its nights"
-- section = "nights"
-- order = 5
-- note = "Counted nights; artefacts that a fingerstick refuted are left out. Side and posture are those noted on going to bed, where they were: nobody keeps them all night. Nights without a note of side, posture or tape are in none of those groups. The first interval takes events as independent (exact Poisson); the second, from three sensors on, lets sensors differ. Many groups are compared here: one that stands out by itself may be chance."
-- show = 120
-- [columns]
-- site = { label = "Site", class = "site" }
-- split = { label = "Nights by", class = "category" }
-- level = { label = "Group", class = "category" }
-- sensors = { label = "Sensors", class = "count" }
-- nights = { label = "Sensor-nights", class = "count" }
-- artefacts = { label = "Artefacts", class = "count" }
-- rate_per_100 = { label = "Per 100 sensor-nights", digits = 1, class = "estimate" }
-- rate_per_100_lower = { digits = 1, class = "lower" }
-- rate_per_100_upper = { digits = 1, class = "upper" }
-- sensor_rate = { label = "Sensors allowed to differ", digits = 1, class = "estimate" }
-- sensor_rate_lower = { digits = 1, class = "lower" }
-- sensor_rate_upper = { digits = 1, class = "upper" }
WITH by_sensor AS (
    SELECT
        split,
        split_order,
        level,
        level_order,
        site,
        sensor_no,
        COUNT(*) AS nights,
        SUM(artefacts) AS artefacts
    FROM sensor_night_groups
    GROUP BY split, split_order, level, level_order, site, sensor_no
),
totals AS (
    SELECT
        split,
        split_order,
        level,
        level_order,
        site,
        COUNT(*) AS sensors,
        SUM(nights) AS nights,
        SUM(artefacts) AS artefacts,
        sensor_rate(artefacts, nights) AS over_sensors
    FROM by_sensor
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
    100.0 * exact_poisson_upper(t.artefacts) / t.nights AS rate_per_100_upper,
    100.0 * get_field(t.over_sensors, 'rate') AS sensor_rate,
    100.0 * get_field(t.over_sensors, 'lower') AS sensor_rate_lower,
    100.0 * get_field(t.over_sensors, 'upper') AS sensor_rate_upper
FROM totals AS t
INNER JOIN sites AS s ON s.site = t.site
ORDER BY s.position, t.split_order, t.level_order
