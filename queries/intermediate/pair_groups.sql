-- title = "Pairs by glucose, rate of change, day of wear, month and model"
-- row = "one pair and one way of grouping"
-- role = "view"
-- [columns]
-- grouping = { class = "category" }
-- place = { class = "category", type = "integer" }
-- name = { class = "category" }
-- part = { class = "category" }
-- wearer = { class = "wearer" }
-- sensor = { class = "sensor" }
-- site = { class = "site" }
-- fingerstick_time = { class = "time" }
-- reading_time = { class = "time" }
-- fingerstick = { class = "estimate" }
-- reading = { class = "estimate" }
-- difference = { class = "estimate" }
-- relative_difference = { class = "estimate" }
-- wear_days = { class = "estimate" }
-- sensor_no = { class = "sensor", type = "integer" }
-- fingerstick_no = { class = "identifying", type = "integer" }
-- ard = { class = "estimate" }
-- in_15_15 = { class = "category", type = "number" }
-- in_20_20 = { class = "category", type = "number" }
-- in_40_40 = { class = "category", type = "number" }
-- in_20_percent = { class = "category", type = "number" }
SELECT
    'glucose' AS grouping,
    CASE
        WHEN below(fingerstick, 70) THEN 1
        WHEN at_most(fingerstick, 180) THEN 2
        ELSE 3
    END AS place,
    CAST(NULL AS VARCHAR) AS name,
    CAST(NULL AS VARCHAR) AS part,
    *
FROM pair_agreement
UNION ALL
SELECT
    'rate' AS grouping,
    CASE
        WHEN below(r.rate, -2) THEN 1
        WHEN below(r.rate, -1) THEN 2
        WHEN at_most(r.rate, 1) THEN 3
        WHEN at_most(r.rate, 2) THEN 4
        ELSE 5
    END AS place,
    CAST(NULL AS VARCHAR) AS name,
    CAST(NULL AS VARCHAR) AS part,
    p.*
FROM pair_rates AS r
INNER JOIN pair_agreement AS p ON p.fingerstick_no = r.fingerstick_no AND p.sensor_no = r.sensor_no
UNION ALL
SELECT
    'wear day' AS grouping,
    CAST(FLOOR(wear_days) AS BIGINT) + 1 AS place,
    CAST(NULL AS VARCHAR) AS name,
    CAST(NULL AS VARCHAR) AS part,
    *
FROM pair_agreement
UNION ALL
SELECT
    'month' AS grouping,
    0 AS place,
    m.month AS name,
    CAST(NULL AS VARCHAR) AS part,
    p.*
FROM clock_months AS m
INNER JOIN pair_agreement AS p ON p.fingerstick_time > m.month_start AND p.fingerstick_time <= m.month_end
UNION ALL
SELECT
    'model' AS grouping,
    0 AS place,
    COALESCE(s.model, 'not logged') AS name,
    COALESCE(s.lot, 'not logged') AS part,
    p.*
FROM sessions AS s
INNER JOIN pair_agreement AS p ON p.sensor_no = s.sensor_no
