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
WITH both_sites AS (
    SELECT
        a.site AS first_site,
        b.site AS second_site,
        a.position AS first_position,
        b.position AS second_position,
        a.site || ' / ' || b.site AS sites
    FROM sites AS a
    INNER JOIN sites AS b ON b.position > a.position
),
fits AS (
    SELECT
        k.sites,
        k.first_site,
        k.second_site,
        k.first_position,
        k.second_position,
        delay_difference(
            CASE WHEN d.site = k.first_site THEN 1 ELSE 0 END,
            d.wearer, d.sensor_no, d.level, d.ratio, d.slope, d.wide_slope
        ) AS fit
    FROM both_sites AS k
    INNER JOIN delay_points AS d ON d.site = k.first_site OR d.site = k.second_site
    GROUP BY k.sites, k.first_site, k.second_site, k.first_position, k.second_position
),
results AS (
    SELECT *, get_field(fit, 'p') AS p
    FROM fits
    WHERE get_field(fit, 'minutes') IS NOT NULL
)
SELECT
    sites,
    first_site,
    second_site,
    CAST(get_field(fit, 'wearers') AS BIGINT) AS wearers,
    CAST(get_field(fit, 'sensors') AS BIGINT) AS sensors,
    get_field(fit, 'minutes') AS difference_minutes,
    get_field(fit, 'lower') AS lower,
    get_field(fit, 'upper') AS upper,
    p,
    holm(p) OVER () AS p_holm
FROM results
ORDER BY first_position, second_position
