-- title = "Delay behind capillary glucose, by site"
-- row = "one site"
-- section = "delay"
-- order = 1
-- note = "A meter clock that is off shifts every site alike: the differences between sites, in the next table, hold even then. Empty where glucose moved too little to tell."
-- chart = { kind = "intervals", x = "delay_minutes", y = "site", lower = "lower", upper = "upper" }
-- [columns]
-- site = { label = "Site", class = "site" }
-- pairs = { label = "Pairs used", class = "count" }
-- delay_minutes = { label = "Delay", unit = "min", digits = 1, class = "estimate" }
-- lower = { label = "from", unit = "min", digits = 1, class = "lower" }
-- upper = { label = "to", unit = "min", digits = 1, class = "upper" }
WITH fits AS (
    SELECT site, first_order_delay(sensor_no, level, ratio, slope, wide_slope) AS fit
    FROM delay_points
    GROUP BY site
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
