-- title = "Errors of each sensor in short"
-- row = "one sensor and one measure"
-- role = "intermediate"
-- [columns]
-- measure = { class = "category" }
-- wearer = { class = "wearer" }
-- sensor = { class = "sensor" }
-- site = { class = "site" }
-- position = { class = "category", type = "integer" }
-- sensor_no = { class = "sensor", type = "integer" }
-- pairs = { class = "count" }
-- mean = { class = "estimate" }
-- squares = { class = "estimate" }
-- percent_mean = { class = "estimate" }
-- percent_squares = { class = "estimate" }
-- block = { class = "category" }
-- tape = { class = "category" }
-- side = { class = "category" }
-- model = { class = "identifying" }
-- order_of_wear = { class = "category", type = "integer" }
-- inserted = { class = "time" }
-- over_from = { class = "time" }

-- `mean` and `squares` (about the mean) are in mg/dL, `percent_mean` and `percent_squares` in percent of the fingerstick.
-- `over_from` is when the sensor is known to be over: its end, or a day after its last reading.
WITH measured AS (
    SELECT
        sensor_no,
        'bias' AS measure,
        difference AS error,
        100 * relative_difference AS percent
    FROM compared_pairs
    UNION ALL
    SELECT
        sensor_no,
        'absolute difference' AS measure,
        ABS(difference) AS error,
        100 * ABS(relative_difference) AS percent
    FROM compared_pairs
),
short AS (
    SELECT
        sensor_no,
        measure,
        COUNT(*) AS pairs,
        AVG(error) AS mean,
        VAR_POP(error) * COUNT(*) AS squares,
        AVG(percent) AS percent_mean,
        VAR_POP(percent) * COUNT(*) AS percent_squares
    FROM measured
    GROUP BY sensor_no, measure
)
SELECT
    m.measure,
    s.wearer,
    s.sensor,
    s.site,
    x.position,
    s.sensor_no,
    m.pairs,
    m.mean,
    m.squares,
    m.percent_mean,
    m.percent_squares,
    s.wearer || ' / ' || COALESCE(s.model, '') AS block,
    COALESCE(s.tape, 'not logged') AS tape,
    COALESCE(s.side, 'not logged') AS side,
    COALESCE(s.model, 'not logged') AS model,
    s.order_of_wear,
    s.inserted,
    COALESCE(s.ended, CASE WHEN s.state = 'lost track of' THEN plus_hours(s.seen_until, 24.0) END) AS over_from
FROM short AS m
INNER JOIN sessions AS s ON s.sensor_no = m.sensor_no
INNER JOIN sites AS x ON x.site = s.site
ORDER BY m.measure, s.wearer, s.inserted, s.sensor
