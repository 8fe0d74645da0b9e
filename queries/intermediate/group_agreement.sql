-- title = "Agreement with fingersticks by group"
-- row = "one site and one group of pairs"
-- role = "view"
-- [columns]
-- grouping = { class = "category" }
-- place = { class = "category", type = "integer" }
-- name = { class = "category" }
-- part = { class = "category" }
-- site = { class = "site" }
-- position = { class = "category", type = "integer" }
-- sensors = { class = "count" }
-- pairs = { class = "count" }
-- bias = { class = "estimate" }
-- bias_lower = { class = "lower" }
-- bias_upper = { class = "upper" }
-- bias_percent = { class = "estimate" }
-- bias_percent_lower = { class = "lower" }
-- bias_percent_upper = { class = "upper" }
-- mard = { class = "estimate" }
-- within_15_15 = { class = "share" }
-- within_20_20 = { class = "share" }
-- within_40_40 = { class = "share" }
-- within_20_percent = { class = "share" }

-- Each table that reads it takes one way of grouping: so the pairs of one lie in memory at a time.
-- An interval takes three sensors: with two, Student's t leaves it too wide to say anything.
WITH figures AS (
    SELECT
        site,
        grouping,
        place,
        name,
        part,
        COUNT(DISTINCT sensor_no) AS sensors,
        COUNT(*) AS pairs,
        random_intercept(difference, sensor_no) AS absolute,
        random_intercept(100 * relative_difference, sensor_no) AS percent,
        AVG(ard) AS mard,
        AVG(in_15_15) AS within_15_15,
        AVG(in_20_20) AS within_20_20,
        AVG(in_40_40) AS within_40_40,
        AVG(in_20_percent) AS within_20_percent
    FROM pair_groups
    GROUP BY site, grouping, place, name, part
)
SELECT
    f.grouping,
    f.place,
    f.name,
    f.part,
    f.site,
    s.position,
    f.sensors,
    f.pairs,
    get_field(f.absolute, 'mean') AS bias,
    CASE WHEN f.sensors > 2 THEN get_field(f.absolute, 'lower') END AS bias_lower,
    CASE WHEN f.sensors > 2 THEN get_field(f.absolute, 'upper') END AS bias_upper,
    get_field(f.percent, 'mean') AS bias_percent,
    CASE WHEN f.sensors > 2 THEN get_field(f.percent, 'lower') END AS bias_percent_lower,
    CASE WHEN f.sensors > 2 THEN get_field(f.percent, 'upper') END AS bias_percent_upper,
    f.mard,
    f.within_15_15,
    f.within_20_20,
    f.within_40_40,
    f.within_20_percent
FROM figures AS f
INNER JOIN sites AS s ON s.site = f.site
