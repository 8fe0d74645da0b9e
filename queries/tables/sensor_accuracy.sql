-- title = "Sensors one by one"
-- row = "one sensor with pairs"
-- section = "spread"
-- note = "The mean of a sensor's differences with a 95 % interval by t, from five pairs on. How far the dots of one site lie apart is what the next sensor there may add."
-- chart = { kind = "points", x = "wear_order", y = "mean_difference", lower = "mean_difference_lower", upper = "mean_difference_upper", series = "site" }
-- show = 60
-- [columns]
-- wearer = { label = "Wearer", class = "wearer" }
-- sensor = { label = "Sensor", class = "sensor" }
-- site = { label = "Site", class = "site" }
-- wear_order = { label = "Sensor of this site, in order of wear", class = "category", type = "integer" }
-- pairs = { label = "Pairs", class = "count" }
-- mean_difference = { label = "Mean difference", unit = "mg/dL", digits = 1, class = "estimate" }
-- mean_difference_lower = { unit = "mg/dL", digits = 1, class = "lower" }
-- mean_difference_upper = { unit = "mg/dL", digits = 1, class = "upper" }
WITH fits AS (
    SELECT
        wearer,
        sensor,
        site,
        COUNT(*) AS pairs,
        AVG(difference) AS mean_difference,
        student_t(0.975, COUNT(*) - 1) * STDDEV(difference) / SQRT(COUNT(*)) AS either_side
    FROM pairs
    GROUP BY wearer, sensor, site
)
SELECT
    f.wearer,
    f.sensor,
    f.site,
    ROW_NUMBER() OVER (PARTITION BY f.site ORDER BY s.inserted, f.wearer, f.sensor) AS wear_order,
    f.pairs,
    f.mean_difference,
    CASE WHEN f.pairs >= 5 THEN f.mean_difference - f.either_side END AS mean_difference_lower,
    CASE WHEN f.pairs >= 5 THEN f.mean_difference + f.either_side END AS mean_difference_upper
FROM fits AS f
INNER JOIN sessions AS s ON s.wearer = f.wearer AND s.sensor = f.sensor
INNER JOIN sites AS t ON t.site = f.site
ORDER BY t.position, s.inserted, f.wearer, f.sensor
