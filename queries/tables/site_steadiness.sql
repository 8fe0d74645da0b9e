-- title = "Steady or scattered?"
-- row = "one site"
-- section = "spread"
-- order = 1
-- note = "In percent of the fingerstick. With an SD between sensors of 7.5 %, 95 of 100 sensors lie within 15 % of what is usual for the site."
-- chart = { kind = "intervals", x = "sd_between", y = "site", lower = "sd_between_lower", upper = "sd_between_upper" }
-- [columns]
-- site = { label = "Site", class = "site" }
-- sensors = { label = "Sensors", class = "count" }
-- pairs = { label = "Pairs", class = "count" }
-- class = { label = "In a word", class = "category" }
-- bias = { label = "Bias", unit = "%", digits = 1, class = "estimate" }
-- bias_lower = { unit = "%", digits = 1, class = "lower" }
-- bias_upper = { unit = "%", digits = 1, class = "upper" }
-- sd_between = { label = "SD between sensors", unit = "%", digits = 1, class = "estimate" }
-- sd_between_lower = { unit = "%", digits = 1, class = "lower" }
-- sd_between_upper = { unit = "%", digits = 1, class = "upper" }
-- sd_within = { label = "SD within a sensor", unit = "%", digits = 1, class = "estimate" }
-- sd_within_lower = { unit = "%", digits = 1, class = "lower" }
-- sd_within_upper = { unit = "%", digits = 1, class = "upper" }
-- drift = { label = "Drift a day of wear", unit = "%", digits = 2, class = "estimate" }
-- drift_lower = { unit = "%", digits = 2, class = "lower" }
-- drift_upper = { unit = "%", digits = 2, class = "upper" }
WITH fits AS (
    SELECT
        site,
        COUNT(*) AS pairs,
        steadiness(100 * relative_difference, sensor_no, wear_days) AS fit
    FROM compared_pairs
    GROUP BY site
)
SELECT
    f.site,
    CAST(get_field(f.fit, 'sensors') AS BIGINT) AS sensors,
    f.pairs,
    CASE get_field(f.fit, 'class')
        WHEN 0 THEN 'too few sensors'
        WHEN 1 THEN 'not clear yet'
        WHEN 2 THEN 'scattered'
        WHEN 3 THEN 'steady'
        WHEN 4 THEN 'steady, but high'
        WHEN 5 THEN 'steady, but low'
    END AS class,
    get_field(f.fit, 'bias') AS bias,
    get_field(f.fit, 'bias_lower') AS bias_lower,
    get_field(f.fit, 'bias_upper') AS bias_upper,
    get_field(f.fit, 'sd_between') AS sd_between,
    get_field(f.fit, 'sd_between_lower') AS sd_between_lower,
    get_field(f.fit, 'sd_between_upper') AS sd_between_upper,
    get_field(f.fit, 'sd_within') AS sd_within,
    get_field(f.fit, 'sd_within_lower') AS sd_within_lower,
    get_field(f.fit, 'sd_within_upper') AS sd_within_upper,
    get_field(f.fit, 'drift') AS drift,
    get_field(f.fit, 'drift_lower') AS drift_lower,
    get_field(f.fit, 'drift_upper') AS drift_upper
FROM fits AS f
INNER JOIN sites AS s ON s.site = f.site
ORDER BY s.position
