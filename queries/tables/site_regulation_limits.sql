-- title = "Beside the limits of a regulation"
-- row = "one site and one limit of 21 CFR 862.1355(b)(1)(v)"
-- section = "accuracy"
-- order = 18
-- note = "This is no regulatory test: that takes many wearers and a laboratory method, here there is a meter, and a wearer or few. The limits, sorted by the sensor's reading, serve as a yardstick. The regulation compares the lower bound for A to G, and the share itself for H to K. Its bound takes pairs as independent, which pairs of one sensor are not; the bound beside it lets the sensors differ, and takes three of them. J and K need two fingersticks 10 to 30 minutes apart (no source)."
-- show = 80
-- [columns]
-- site = { label = "Site", class = "site" }
-- limit = { label = "Limit", class = "category" }
-- readings = { label = "Sensor's reading", class = "category" }
-- criterion = { label = "A pair counts if", class = "category" }
-- compared = { label = "Compared", class = "category" }
-- required = { label = "Required", unit = "share", digits = 0, class = "share" }
-- sensors = { label = "Sensors", class = "count" }
-- pairs = { label = "Pairs", class = "count" }
-- met = { label = "Pairs that count", class = "count" }
-- share = { label = "Share", unit = "share", digits = 1, class = "share" }
-- bound = { label = "One-sided 95 % lower bound, pairs as independent", unit = "share", digits = 1, class = "share" }
-- bound_sensors = { label = "the same, sensors may differ", unit = "share", digits = 1, class = "share" }
WITH limits AS (
    SELECT *
    FROM (
        VALUES
            ('A', 'below 70 mg/dL', 'within 15 mg/dL', 'bound'),
            ('B', '70 to 180 mg/dL', 'within 15 %', 'bound'),
            ('C', 'above 180 mg/dL', 'within 15 %', 'bound'),
            ('D', 'below 70 mg/dL', 'within 40 mg/dL', 'bound'),
            ('E', '70 to 180 mg/dL', 'within 40 %', 'bound'),
            ('F', 'above 180 mg/dL', 'within 40 %', 'bound'),
            ('G', 'any', 'within 20 %', 'bound'),
            ('H', 'below 70 mg/dL', 'fingerstick not above 180 mg/dL', 'share'),
            ('I', 'above 180 mg/dL', 'fingerstick not below 70 mg/dL', 'share'),
            ('J', 'any', 'not rising above 1 mg/dL/min while fingersticks fall faster than 2', 'share'),
            ('K', 'any', 'not falling faster than 1 mg/dL/min while fingersticks rise above 2', 'share')
    ) AS v (letter, readings, criterion, compared)
),
counts AS (
    SELECT
        letter,
        site,
        COUNT(*) AS sensors,
        SUM(pairs) AS pairs,
        SUM(met) AS met,
        sensor_ratio(met, pairs) AS ratio
    FROM regulation_counts
    GROUP BY letter, site
),
bounds AS (
    SELECT
        *,
        one_sided_lower(met, pairs) AS bound,
        CASE WHEN get_field(ratio, 'lower') IS NOT NULL
            THEN get_field(ratio, 'value')
                - student_t(0.95, get_field(ratio, 'df')) * get_field(ratio, 'std_error')
        END AS bound_sensors
    FROM counts
)
SELECT
    b.site,
    b.letter AS "limit",
    l.readings,
    l.criterion,
    l.compared,
    COALESCE(acceptance_share(CASE WHEN b.letter NOT IN ('J', 'K') THEN b.letter END), 0.99) AS required,
    b.sensors,
    b.pairs,
    b.met,
    CAST(b.met AS DOUBLE) / b.pairs AS share,
    b.bound,
    CASE WHEN b.bound_sensors IS NOT NULL THEN GREATEST(LEAST(b.bound_sensors, b.bound), 0.0) END AS bound_sensors
FROM limits AS l
INNER JOIN bounds AS b ON b.letter = l.letter
INNER JOIN sites AS s ON s.site = b.site
ORDER BY s.position, b.letter
