-- title = "Pairs by what they can teach of"
WITH clock AS (
    SELECT
        p.wearer,
        p.site,
        p.wear_days,
        p.fingerstick,
        100 * p.relative_difference AS percent,
        r.rate,
        clock_hour(p.fingerstick_time, t.timezone) AS hour
    FROM pair_rates AS r
    INNER JOIN pairs AS p ON p.fingerstick_no = r.fingerstick_no AND p.sensor_no = r.sensor_no
    CROSS JOIN settings AS t
),
cells AS (
    SELECT
        wearer,
        site,
        CASE
            WHEN fingerstick < 70 * (1 - 1e-9) THEN 0
            WHEN fingerstick <= 180 * (1 + 1e-9) THEN 1
            ELSE 2
        END AS level,
        CASE
            WHEN ABS(rate) <= 1 + 1e-9 THEN 0
            WHEN ABS(rate) <= 2 * (1 + 1e-9) THEN 1
            ELSE 2
        END AS pace,
        CASE WHEN wear_days < 1 THEN 1 ELSE 0 END AS first_day,
        CASE WHEN hour >= 23 OR hour < 7 THEN 1 ELSE 0 END AS night,
        percent
    FROM clock
)
SELECT
    wearer,
    site,
    level,
    pace,
    first_day,
    night,
    COUNT(*) AS pairs,
    SUM(percent) AS total,
    SUM(percent * percent) AS squares
FROM cells
GROUP BY wearer, site, level, pace, first_day, night
ORDER BY wearer, site, level, pace, first_day, night
