-- title = "Lows: seen, and seen by the sensor alone"
-- row = "one site"
-- section = "accuracy"
-- order = 17
-- note = "Low is below {70 mg/dL}. A sensor below its measuring range counts as low, above it as not low. Lows that nobody checked are not here, and people check when they feel low: this does not say how many lows a sensor misses. Intervals are the wider of the exact one, which takes pairs as independent, and the one that lets sensors differ, which takes three of them."
-- [columns]
-- site = { label = "Site", class = "site" }
-- sensors = { label = "Sensors", class = "count" }
-- low_fingersticks = { label = "Fingersticks low", class = "count" }
-- seen = { label = "of these sensor low too", class = "count" }
-- seen_share = { label = "Lows seen", unit = "share", digits = 0, class = "share" }
-- seen_share_lower = { unit = "share", digits = 0, class = "lower" }
-- seen_share_upper = { unit = "share", digits = 0, class = "upper" }
-- low_readings = { label = "Sensor low", class = "count" }
-- alone = { label = "of these fingerstick not low", class = "count" }
-- alone_share = { label = "Sensor low alone", unit = "share", digits = 0, class = "share" }
-- alone_share_lower = { unit = "share", digits = 0, class = "lower" }
-- alone_share_upper = { unit = "share", digits = 0, class = "upper" }
WITH checks AS (
    SELECT
        site,
        sensor_no,
        below(fingerstick, 70) AS blood_low,
        below(reading, 70) AS sensor_low
    FROM compared_pairs
    UNION ALL
    SELECT
        site,
        sensor_no,
        below(fingerstick, 70) AS blood_low,
        reason = 'reading low' AS sensor_low
    FROM unpaired_checks
    WHERE reason IN ('reading low', 'reading high')
),
by_sensor AS (
    SELECT
        site,
        sensor_no,
        SUM(CASE WHEN blood_low THEN 1 ELSE 0 END) AS low_fingersticks,
        SUM(CASE WHEN blood_low AND sensor_low THEN 1 ELSE 0 END) AS seen,
        SUM(CASE WHEN sensor_low THEN 1 ELSE 0 END) AS low_readings,
        SUM(CASE WHEN sensor_low AND NOT blood_low THEN 1 ELSE 0 END) AS alone
    FROM checks
    GROUP BY site, sensor_no
),
counts AS (
    SELECT
        site,
        COUNT(*) AS sensors,
        SUM(low_fingersticks) AS low_fingersticks,
        SUM(seen) AS seen,
        SUM(low_readings) AS low_readings,
        SUM(alone) AS alone,
        sensor_ratio(seen, low_fingersticks) AS seen_ratio,
        sensor_ratio(alone, low_readings) AS alone_ratio
    FROM by_sensor
    GROUP BY site
),
shares AS (
    SELECT
        *,
        get_field(seen_ratio, 'value') AS seen_share,
        LEAST(exact_share_lower(seen, low_fingersticks), get_field(seen_ratio, 'lower')) AS seen_lower,
        GREATEST(exact_share_upper(seen, low_fingersticks), get_field(seen_ratio, 'upper')) AS seen_upper,
        get_field(alone_ratio, 'value') AS alone_share,
        LEAST(exact_share_lower(alone, low_readings), get_field(alone_ratio, 'lower')) AS alone_lower,
        GREATEST(exact_share_upper(alone, low_readings), get_field(alone_ratio, 'upper')) AS alone_upper
    FROM counts
)
SELECT
    c.site,
    c.sensors,
    c.low_fingersticks,
    c.seen,
    c.seen_share,
    clamp(c.seen_lower, 0, 1) AS seen_share_lower,
    clamp(c.seen_upper, 0, 1) AS seen_share_upper,
    c.low_readings,
    c.alone,
    c.alone_share,
    clamp(c.alone_lower, 0, 1) AS alone_share_lower,
    clamp(c.alone_upper, 0, 1) AS alone_share_upper
FROM shares AS c
INNER JOIN sites AS s ON s.site = c.site
ORDER BY s.position
