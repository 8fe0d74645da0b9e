-- title = "Sensor by sensor, what matters to a wearer"

-- `weight` is 1 for a sensor of ordinary length. Stays on: losses per rated wear, by the share of it that was worn. Steady: how
-- far a sensor is from the mean of the wearer's sensors at the site, by the root of n over n - 1, so that two are not closer
-- than ten.
WITH named AS (
    SELECT wearer, sensor, site, sensor_no, detached, days, rated_days, LEAST(days, rated_days) / rated_days AS worn
    FROM sessions
),
levels AS (
    SELECT
        wearer,
        sensor,
        site,
        100 * AVG(relative_difference) AS bias,
        100 * AVG(ABS(relative_difference)) AS error
    FROM pairs
    GROUP BY wearer, sensor, site
    HAVING COUNT(*) >= 5
),
spread AS (
    SELECT
        *,
        AVG(bias) OVER (PARTITION BY wearer, site) AS usual,
        COUNT(*) OVER (PARTITION BY wearer, site) AS sensors
    FROM levels
),
nights AS (
    SELECT wearer, sensor, site, COUNT(*) AS nights
    FROM sensor_nights
    WHERE counted = 1
    GROUP BY wearer, sensor, site
),
artefacts AS (
    SELECT wearer, sensor, COUNT(*) AS artefacts
    FROM night_artefacts
    WHERE counted = 1 AND evidence <> 'refuted'
    GROUP BY wearer, sensor
),
events AS (
    SELECT n.wearer, n.sensor, n.site, e.event, e.aspect, e.grade, e.score
    FROM wear_events AS e
    INNER JOIN named AS n ON n.wearer = e.wearer AND n.sensor = e.sensor
)
SELECT
    wearer,
    sensor,
    site,
    'stays-on' AS aspect,
    CASE WHEN detached = 1 AND days <= rated_days * (1 + 1e-9) THEN 1 / worn ELSE 0 END AS value,
    worn AS weight
FROM named
WHERE worn > 0.02
UNION ALL
SELECT wearer, sensor, site, 'reads-true' AS aspect, error AS value, 1.0 AS weight
FROM levels
UNION ALL
SELECT
    wearer,
    sensor,
    site,
    'steady' AS aspect,
    ABS(bias - usual) * SQRT(CAST(sensors AS DOUBLE) / (sensors - 1)) AS value,
    1.0 AS weight
FROM spread
WHERE sensors > 1
UNION ALL
SELECT
    n.wearer,
    n.sensor,
    n.site,
    'quiet-at-night' AS aspect,
    100.0 * COALESCE(a.artefacts, 0) / n.nights AS value,
    n.nights / s.rated_days AS weight
FROM nights AS n
INNER JOIN named AS s ON s.wearer = n.wearer AND s.sensor = n.sensor
LEFT JOIN artefacts AS a ON a.wearer = n.wearer AND a.sensor = n.sensor
UNION ALL
SELECT wearer, sensor, site, 'skin' AS aspect, CAST(MAX(grade) AS DOUBLE) AS value, 1.0 AS weight
FROM events
WHERE event = 'skin' AND grade IS NOT NULL
GROUP BY wearer, sensor, site
UNION ALL
SELECT
    wearer,
    sensor,
    site,
    CASE aspect WHEN 'comfort' THEN 'comfort' ELSE 'out-of-sight' END AS aspect,
    AVG(score) AS value,
    1.0 AS weight
FROM events
WHERE event = 'rating' AND aspect IN ('comfort', 'visibility') AND score IS NOT NULL
GROUP BY wearer, sensor, site, aspect
ORDER BY wearer, aspect, site, sensor
