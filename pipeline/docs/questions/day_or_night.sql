-- title = "Do sensors read otherwise at night than by day?"
-- row = "one site, by day or by night"
-- section = "accuracy"
-- order = 51
-- note = "By the clock of where the wearer was: night is 23 to 7 h. Above zero the sensor reads high."
-- chart = { kind = "intervals", x = "bias_percent", y = "site", lower = "bias_percent_lower", upper = "bias_percent_upper", series = "part" }
-- [columns]
-- site = { label = "Site", class = "site" }
-- part = { label = "Part of the day", class = "category" }
-- sensors = { label = "Sensors", class = "count" }
-- pairs = { label = "Pairs", class = "count" }
-- bias_percent = { label = "Bias, %", digits = 1, class = "estimate" }
-- bias_percent_lower = { digits = 1, class = "lower" }
-- bias_percent_upper = { digits = 1, class = "upper" }
WITH at_clock AS (
    SELECT
        p.site,
        p.sensor_no,
        100 * p.relative_difference AS percent,
        clock_hour(p.fingerstick_time, z.timezone) AS hour
    FROM compared_pairs AS p
    INNER JOIN wearer_zones AS z
        ON z.wearer = p.wearer
        AND p.fingerstick_time >= COALESCE(z.zone_from, p.fingerstick_time)
        AND (z.zone_until IS NULL OR p.fingerstick_time < z.zone_until)
),
parts AS (
    SELECT site, sensor_no, percent, CASE WHEN hour >= 23 OR hour < 7 THEN 'night' ELSE 'day' END AS part
    FROM at_clock
),
fits AS (
    SELECT
        site,
        part,
        COUNT(DISTINCT sensor_no) AS sensors,
        COUNT(*) AS pairs,
        random_intercept(percent, sensor_no) AS fit
    FROM parts
    GROUP BY site, part
)
SELECT
    f.site,
    f.part,
    f.sensors,
    f.pairs,
    get_field(f.fit, 'mean') AS bias_percent,
    get_field(f.fit, 'lower') AS bias_percent_lower,
    get_field(f.fit, 'upper') AS bias_percent_upper
FROM fits AS f
INNER JOIN sites AS s ON s.site = f.site
ORDER BY s.position, f.part
