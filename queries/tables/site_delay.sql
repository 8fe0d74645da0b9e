-- title = "Delay behind capillary glucose, by site"
-- row = "one site"
-- section = "delay"
-- note = "A meter or sensor clock that is off shifts every site alike: differences between sites hold even then. Empty where glucose moved too little to tell."
-- chart = { kind = "intervals", x = "delay_minutes", y = "site", lower = "lower", upper = "upper" }
-- [columns]
-- site = { label = "Site" }
-- pairs = { label = "Pairs used" }
-- delay_minutes = { label = "Delay", unit = "min", digits = 1 }
-- lower = { label = "from", unit = "min", digits = 1 }
-- upper = { label = "to", unit = "min", digits = 1 }
WITH quiet_pairs AS (
    SELECT p.*
    FROM pairs AS p
    LEFT JOIN artefacts AS a
        ON a.sensor_no = p.sensor_no AND p.fingerstick_time >= a.start AND p.fingerstick_time <= a."end"
    WHERE a.sensor_no IS NULL
),
fits AS (
    SELECT
        p.site,
        first_order_delay(p.sensor_no, p.fingerstick_no, p.fingerstick, r.minutes, r.glucose) AS fit
    FROM quiet_pairs AS p
    INNER JOIN near_readings AS r ON r.fingerstick_no = p.fingerstick_no AND r.sensor_no = p.sensor_no
    WHERE r.status = 'ok' AND r.warm AND ABS(r.minutes) <= 45
    GROUP BY p.site
)
SELECT
    f.site,
    CAST(get_field(f.fit, 'pairs') AS BIGINT) AS pairs,
    get_field(f.fit, 'minutes') AS delay_minutes,
    get_field(f.fit, 'lower') AS lower,
    get_field(f.fit, 'upper') AS upper
FROM fits AS f
INNER JOIN sites AS s ON s.site = f.site
ORDER BY s.position
