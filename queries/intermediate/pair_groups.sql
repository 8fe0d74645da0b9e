-- title = "Pairs by glucose, rate of change, day of wear, month and model"
-- row = "one pair and one way of grouping"
-- role = "view"
SELECT
    'glucose' AS grouping,
    CASE
        WHEN fingerstick < 70 * (1 - 1e-9) THEN 1
        WHEN fingerstick <= 180 * (1 + 1e-9) THEN 2
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
        WHEN r.rate < -2 * (1 + 1e-9) THEN 1
        WHEN r.rate < -1 * (1 + 1e-9) THEN 2
        WHEN r.rate <= 1 + 1e-9 THEN 3
        WHEN r.rate <= 2 * (1 + 1e-9) THEN 4
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
