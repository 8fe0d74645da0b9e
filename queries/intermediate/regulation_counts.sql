-- title = "Pairs of each sensor within each limit of 21 CFR 862.1355(b)(1)(v)"
-- row = "one limit and one sensor that has pairs which it speaks of"
-- role = "per-sensor"
-- [columns]
-- letter = { class = "category" }
-- site = { class = "site" }
-- sensor_no = { class = "sensor", type = "integer" }
-- pairs = { class = "count" }
-- met = { class = "count" }
WITH steps AS (
    SELECT
        site,
        sensor_no,
        minutes_between(LAG(fingerstick_time) OVER w, fingerstick_time) AS minutes,
        minutes_between(LAG(reading_time) OVER w, reading_time) AS reading_minutes,
        fingerstick - LAG(fingerstick) OVER w AS fingerstick_change,
        reading - LAG(reading) OVER w AS reading_change
    FROM compared_pairs
    WINDOW w AS (PARTITION BY sensor_no ORDER BY fingerstick_time, fingerstick_no)
),
rates AS (
    SELECT
        site,
        sensor_no,
        fingerstick_change / minutes AS blood,
        reading_change / reading_minutes AS sensor
    FROM steps
    WHERE at_least(minutes, 10) AND at_most(minutes, 30) AND reading_minutes > 0
),
judged AS (
    SELECT l.letter, p.site, p.sensor_no, acceptance_met(l.letter, p.reading, p.fingerstick) AS met
    FROM (VALUES ('A'), ('B'), ('C'), ('D'), ('E'), ('F'), ('G'), ('H'), ('I')) AS l (letter)
    CROSS JOIN compared_pairs AS p
    UNION ALL
    SELECT
        'J' AS letter,
        site,
        sensor_no,
        CASE WHEN above(sensor, 1) AND below(blood, -2) THEN 0.0 ELSE 1.0 END AS met
    FROM rates
    UNION ALL
    SELECT
        'K' AS letter,
        site,
        sensor_no,
        CASE WHEN below(sensor, -1) AND above(blood, 2) THEN 0.0 ELSE 1.0 END AS met
    FROM rates
)
SELECT letter, site, sensor_no, COUNT(*) AS pairs, CAST(SUM(met) AS BIGINT) AS met
FROM judged
WHERE met IS NOT NULL
GROUP BY letter, site, sensor_no
