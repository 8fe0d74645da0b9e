-- title = "Models compared on the same site"
-- row = "two models on one site, or on all sites that both were worn on"
-- section = "accuracy"
-- order = 15
-- note = "How much higher the newer model reads, in percent of the fingerstick: difference of the means of sensors, each sensor counting once. The row of every site averages the differences within sites, so that a model worn mostly on a site that reads high gains nothing by it; where it and the single sites agree, the whole generation differs, else it is just that site. Interval by t with the spread of sensors within site and model."
-- chart = { kind = "intervals", x = "difference", y = "site", lower = "difference_lower", upper = "difference_upper", series = "model" }
-- [columns]
-- site = { label = "Site", class = "site" }
-- model = { label = "Newer model", class = "identifying" }
-- earlier = { label = "Earlier model", class = "identifying" }
-- sensors = { label = "Sensors of the newer", class = "count" }
-- sensors_earlier = { label = "of the earlier", class = "count" }
-- difference = { label = "Newer minus earlier", unit = "%", digits = 1, class = "estimate" }
-- difference_lower = { unit = "%", digits = 1, class = "lower" }
-- difference_upper = { unit = "%", digits = 1, class = "upper" }
-- finding = { label = "Finding", class = "category" }

-- Weights n1 n2 / (n1 + n2), which are best where all sensors spread alike; pooled variance within cells of site and
-- model: the analysis of variance of two models in blocks, from memory of any handbook.
WITH sensor_means AS (
    SELECT p.site, s.model, p.sensor_no, AVG(100 * p.relative_difference) AS level
    FROM sessions AS s
    INNER JOIN compared_pairs AS p ON p.sensor_no = s.sensor_no
    WHERE s.model IS NOT NULL
    GROUP BY p.site, s.model, p.sensor_no
),
cells AS (
    SELECT
        site,
        model,
        COUNT(*) AS sensors,
        AVG(level) AS level,
        COALESCE(VAR_SAMP(level), 0.0) * (COUNT(*) - 1) AS squares
    FROM sensor_means
    GROUP BY site, model
),
models AS (
    SELECT model, ROW_NUMBER() OVER (ORDER BY MIN(inserted), model) AS generation
    FROM sessions
    WHERE model IS NOT NULL
    GROUP BY model
),
blocks AS (
    SELECT
        a.site,
        a.model,
        b.model AS earlier,
        a.sensors,
        b.sensors AS sensors_earlier,
        a.level - b.level AS difference,
        CAST(a.sensors AS DOUBLE) * b.sensors / (a.sensors + b.sensors) AS weight,
        a.squares + b.squares AS squares
    FROM cells AS a
    INNER JOIN cells AS b ON b.site = a.site
    INNER JOIN models AS newer ON newer.model = a.model
    INNER JOIN models AS older ON older.model = b.model
    WHERE newer.generation > older.generation
),
levels AS (
    SELECT *, site AS place FROM blocks
    UNION ALL
    SELECT *, 'every site' AS place FROM blocks
),
sums AS (
    SELECT
        place AS site,
        model,
        earlier,
        CAST(SUM(sensors) AS BIGINT) AS sensors,
        CAST(SUM(sensors_earlier) AS BIGINT) AS sensors_earlier,
        SUM(weight * difference) / SUM(weight) AS difference,
        CAST(SUM(sensors + sensors_earlier - 2) AS DOUBLE) AS df,
        SUM(weight) AS weight,
        SUM(squares) AS squares
    FROM levels
    GROUP BY place, model, earlier
),
widths AS (
    SELECT
        *,
        CASE WHEN sensors > 1 AND sensors_earlier > 1 AND squares > 0
            THEN student_t(0.975, df) * SQRT(squares / df / weight)
        END AS half_width
    FROM sums
)
SELECT
    w.site,
    w.model,
    w.earlier,
    w.sensors,
    w.sensors_earlier,
    w.difference,
    w.difference - w.half_width AS difference_lower,
    w.difference + w.half_width AS difference_upper,
    CASE
        WHEN w.half_width IS NULL THEN 'too few sensors'
        WHEN w.difference > w.half_width THEN 'reads higher'
        WHEN w.difference < -w.half_width THEN 'reads lower'
        ELSE 'not told apart'
    END AS finding
FROM widths AS w
LEFT JOIN sites AS s ON s.site = w.site
ORDER BY s.position NULLS LAST, w.model, w.earlier
