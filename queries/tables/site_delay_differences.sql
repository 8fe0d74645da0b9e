-- title = "Differences in delay between sites"
-- row = "one pair of sites"
-- section = "delay"
-- order = 2
-- note = "First site less second, within wearers: above zero, the first lags further behind. A meter clock that is off does not move these, as long as a wearer uses one meter for both sites. Holm's p allows for all pairs of sites."
-- chart = { kind = "intervals", x = "difference_minutes", y = "sites", lower = "lower", upper = "upper" }
-- [columns]
-- sites = { label = "Sites", class = "site" }
-- first_site = { hidden = true, class = "site" }
-- second_site = { hidden = true, class = "site" }
-- wearers = { label = "Wearers of both", class = "count" }
-- sensors = { label = "Sensors", class = "count" }
-- difference_minutes = { label = "Difference in delay", unit = "min", digits = 1, class = "estimate" }
-- lower = { label = "from", unit = "min", digits = 1, class = "lower" }
-- upper = { label = "to", unit = "min", digits = 1, class = "upper" }
-- p = { label = "p", digits = 3, class = "p" }
-- p_holm = { label = "Holm's p", digits = 3, class = "p" }
WITH listed AS (
    SELECT
        UNNEST(delay_differences(
            s.position, d.wearer, d.sensor_no, d.level, d.ratio, d.slope, d.wide_slope
        )) AS difference
    FROM delay_points AS d
    INNER JOIN sites AS s ON s.site = d.site
),
results AS (
    SELECT
        a.site AS first_site,
        b.site AS second_site,
        a.position AS first_position,
        b.position AS second_position,
        l.difference,
        get_field(l.difference, 'p') AS p
    FROM listed AS l
    INNER JOIN sites AS a ON a.position = get_field(l.difference, 'position_a')
    INNER JOIN sites AS b ON b.position = get_field(l.difference, 'position_b')
)
SELECT
    first_site || ' / ' || second_site AS sites,
    first_site,
    second_site,
    CAST(get_field(difference, 'wearers') AS BIGINT) AS wearers,
    CAST(get_field(difference, 'sensors') AS BIGINT) AS sensors,
    get_field(difference, 'minutes') AS difference_minutes,
    get_field(difference, 'lower') AS lower,
    get_field(difference, 'upper') AS upper,
    p,
    holm(p) OVER () AS p_holm
FROM results
ORDER BY first_position, second_position
