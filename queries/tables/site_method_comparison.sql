-- title = "Off by a constant, or in proportion?"
-- row = "one site"
-- section = "accuracy"
-- order = 19
-- note = "Deming's line of readings on fingersticks, both of which err: the error variance of a reading is taken as four times that of a fingerstick (common practice, no source). A slope above 1: the sensor reads high in proportion; an intercept above 0: high by a constant. Intervals leave out one sensor at a time, from five sensors on."
-- [columns]
-- site = { label = "Site", class = "site" }
-- sensors = { label = "Sensors", class = "count" }
-- pairs = { label = "Pairs", class = "count" }
-- slope = { label = "Slope", digits = 3, class = "estimate" }
-- slope_lower = { digits = 3, class = "lower" }
-- slope_upper = { digits = 3, class = "upper" }
-- intercept = { label = "Intercept", unit = "mg/dL", digits = 1, class = "estimate" }
-- intercept_lower = { unit = "mg/dL", digits = 1, class = "lower" }
-- intercept_upper = { unit = "mg/dL", digits = 1, class = "upper" }
WITH lines AS (
    SELECT
        site,
        COUNT(DISTINCT sensor_no) AS sensors,
        COUNT(*) AS pairs,
        deming(fingerstick, reading, sensor_no, 4.0) AS line
    FROM compared_pairs
    GROUP BY site
)
SELECT
    l.site,
    l.sensors,
    l.pairs,
    get_field(l.line, 'slope') AS slope,
    get_field(l.line, 'slope_lower') AS slope_lower,
    get_field(l.line, 'slope_upper') AS slope_upper,
    get_field(l.line, 'intercept') AS intercept,
    get_field(l.line, 'intercept_lower') AS intercept_lower,
    get_field(l.line, 'intercept_upper') AS intercept_upper
FROM lines AS l
INNER JOIN sites AS s ON s.site = l.site
WHERE l.line IS NOT NULL
ORDER BY s.position
