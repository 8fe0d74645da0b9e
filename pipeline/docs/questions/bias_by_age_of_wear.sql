-- title = "Bias by age of wear"
-- row = "one site and part of the wear"
-- section = "accuracy"
-- order = 50
-- note = "Above zero the sensor reads high. Intervals respect sensors; one sensor has none."
-- chart = { kind = "line", x = "from_day", y = "bias", lower = "bias_lower", upper = "bias_upper", series = "site" }
-- [columns]
-- site = { label = "Site", class = "site" }
-- from_day = { label = "From day", unit = "d", digits = 0, class = "count" }
-- sensors = { label = "Sensors", class = "count" }
-- pairs = { label = "Pairs", class = "count" }
-- bias = { label = "Bias", unit = "mg/dL", digits = 1, class = "estimate" }
-- bias_lower = { unit = "mg/dL", digits = 1, class = "lower" }
-- bias_upper = { unit = "mg/dL", digits = 1, class = "upper" }
WITH parts AS (
    SELECT
        site,
        CASE WHEN wear_days < 1 THEN 0 WHEN wear_days < 4 THEN 1 WHEN wear_days < 8 THEN 4 ELSE 8 END AS from_day,
        sensor_no,
        difference
    FROM compared_pairs
),
fits AS (
    SELECT
        site,
        from_day,
        COUNT(DISTINCT sensor_no) AS sensors,
        COUNT(*) AS pairs,
        random_intercept(difference, sensor_no) AS fit
    FROM parts
    GROUP BY site, from_day
)
SELECT
    f.site,
    f.from_day,
    f.sensors,
    f.pairs,
    get_field(f.fit, 'mean') AS bias,
    get_field(f.fit, 'lower') AS bias_lower,
    get_field(f.fit, 'upper') AS bias_upper
FROM fits AS f
INNER JOIN sites AS s ON s.site = f.site
ORDER BY s.position, f.from_day
