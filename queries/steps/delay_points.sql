-- title = "Fingersticks against the slope of each sensor"
-- row = "one pair outside artefacts, with readings enough around it"
-- role = "step"
WITH quiet_pairs AS (
    SELECT p.*
    FROM pairs AS p
    LEFT JOIN artefacts AS a
        ON a.sensor_no = p.sensor_no AND p.fingerstick_time >= a.start AND p.fingerstick_time <= a."end"
    WHERE a.sensor_no IS NULL
),
points AS (
    SELECT
        p.wearer,
        p.site,
        p.sensor_no,
        p.fingerstick_no,
        delay_point(p.fingerstick, r.minutes, r.glucose) AS point
    FROM quiet_pairs AS p
    INNER JOIN near_readings AS r ON r.fingerstick_no = p.fingerstick_no AND r.sensor_no = p.sensor_no
    WHERE r.status = 'ok' AND r.warm AND ABS(r.minutes) <= 45
    GROUP BY p.wearer, p.site, p.sensor_no, p.fingerstick_no
)
SELECT
    wearer,
    site,
    sensor_no,
    fingerstick_no,
    get_field(point, 'ratio') AS ratio,
    get_field(point, 'slope') AS slope,
    get_field(point, 'wide_slope') AS wide_slope
FROM points
WHERE point IS NOT NULL
ORDER BY sensor_no, fingerstick_no
