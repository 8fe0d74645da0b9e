-- title = "Do artefacts come on the side that is slept on?"
-- row = "all counted nights of sensors on one side, slept on or not"
-- section = "nights"
-- order = 50
-- note = "Nights whose posture was noted as left or right, of sensors worn left or right. Intervals let sensors differ."
-- chart = { kind = "intervals", x = "rate_per_100", y = "slept_on", lower = "rate_per_100_lower", upper = "rate_per_100_upper" }
-- [columns]
-- slept_on = { label = "Slept on", class = "category" }
-- sensors = { label = "Sensors", class = "count" }
-- nights = { label = "Nights", class = "count" }
-- artefacts = { label = "Artefacts", class = "count" }
-- rate_per_100 = { label = "Per 100 nights", digits = 1, class = "estimate" }
-- rate_per_100_lower = { digits = 1, class = "lower" }
-- rate_per_100_upper = { digits = 1, class = "upper" }
WITH of_night AS (
    SELECT
        n.sensor_no,
        CASE WHEN s.side = w.posture THEN 'the sensor''s side' ELSE 'the other side' END AS slept_on,
        COUNT(a.start) AS artefacts
    FROM compared_nights AS n
    INNER JOIN sessions AS s ON s.sensor_no = n.sensor_no
    INNER JOIN nights AS w ON w.wearer = n.wearer AND w.night = n.night
    LEFT JOIN night_artefacts AS a
        ON a.sensor_no = n.sensor_no AND a.night = n.night AND a.evidence <> 'refuted'
    WHERE n.counted = 1 AND s.side IN ('left', 'right') AND w.posture IN ('left', 'right')
    GROUP BY n.sensor_no, n.night, s.side, w.posture
),
of_sensor AS (
    SELECT sensor_no, slept_on, COUNT(*) AS nights, SUM(artefacts) AS artefacts
    FROM of_night
    GROUP BY sensor_no, slept_on
),
fits AS (
    SELECT
        slept_on,
        COUNT(*) AS sensors,
        SUM(nights) AS nights,
        SUM(artefacts) AS artefacts,
        sensor_rate(artefacts, nights) AS fit
    FROM of_sensor
    GROUP BY slept_on
)
SELECT
    slept_on,
    sensors,
    nights,
    artefacts,
    100 * get_field(fit, 'rate') AS rate_per_100,
    100 * get_field(fit, 'lower') AS rate_per_100_lower,
    100 * get_field(fit, 'upper') AS rate_per_100_upper
FROM fits
ORDER BY slept_on DESC
