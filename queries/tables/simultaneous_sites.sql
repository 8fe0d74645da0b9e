-- title = "Sites compared by sensors worn at once"
-- row = "two sites, or one site twice"
-- section = "compare"
-- order = 11
-- note = "First less second; of two on one site, the one inserted first less the other. Each pair of sensors counts once; pairs of at least 6 hours are used. No interval with one pair of sensors. Holm's p allows for all pairs of sites."
-- chart = { kind = "intervals", x = "percent", y = "sites", lower = "percent_lower", upper = "percent_upper" }
-- [columns]
-- sites = { label = "Sites", class = "site" }
-- first_site = { hidden = true, class = "site" }
-- second_site = { hidden = true, class = "site" }
-- wearers = { label = "Wearers", class = "count" }
-- sensor_pairs = { label = "Pairs of sensors", class = "count" }
-- hours = { label = "Hours in common", digits = 0, class = "estimate" }
-- difference = { label = "Difference", unit = "mg/dL", digits = 1, class = "estimate" }
-- difference_lower = { unit = "mg/dL", digits = 1, class = "lower" }
-- difference_upper = { unit = "mg/dL", digits = 1, class = "upper" }
-- percent = { label = "Difference", unit = "%", digits = 1, class = "estimate" }
-- percent_lower = { unit = "%", digits = 1, class = "lower" }
-- percent_upper = { unit = "%", digits = 1, class = "upper" }
-- p = { label = "p", digits = 3, class = "p" }
-- p_holm = { label = "Holm's p", digits = 3, class = "p" }
-- absolute_relative = { label = "Mean absolute relative difference", unit = "share", digits = 1, class = "estimate" }
-- lag_minutes = { label = "Lag of the first behind the second", unit = "min", digits = 1, class = "estimate" }
-- lag_minutes_lower = { unit = "min", digits = 1, class = "lower" }
-- lag_minutes_upper = { unit = "min", digits = 1, class = "upper" }
WITH fits AS (
    SELECT
        first_site,
        second_site,
        COUNT(DISTINCT wearer) AS wearers,
        COUNT(*) AS sensor_pairs,
        SUM(hours) AS hours,
        AVG(absolute_relative) AS absolute_relative,
        pair_mean(difference, first_no, second_no, wearer) AS difference,
        pair_mean(percent, first_no, second_no, wearer) AS percent,
        pair_mean(lag_minutes, first_no, second_no, wearer) AS lag
    FROM simultaneous_sensors
    WHERE hours >= 6
    GROUP BY first_site, second_site
),
results AS (
    SELECT
        *,
        CASE WHEN first_site <> second_site THEN get_field(percent, 'p') END AS p
    FROM fits
),
named AS (
    SELECT
        r.*,
        a.position AS first_position,
        b.position AS second_position,
        a.site || ' / ' || b.site AS sites
    FROM results AS r
    INNER JOIN sites AS a ON a.site = r.first_site
    INNER JOIN sites AS b ON b.site = r.second_site
)
SELECT
    sites,
    first_site,
    second_site,
    wearers,
    sensor_pairs,
    hours,
    get_field(difference, 'mean') AS difference,
    get_field(difference, 'lower') AS difference_lower,
    get_field(difference, 'upper') AS difference_upper,
    get_field(percent, 'mean') AS percent,
    get_field(percent, 'lower') AS percent_lower,
    get_field(percent, 'upper') AS percent_upper,
    p,
    holm(p) OVER () AS p_holm,
    absolute_relative,
    get_field(lag, 'mean') AS lag_minutes,
    get_field(lag, 'lower') AS lag_minutes_lower,
    get_field(lag, 'upper') AS lag_minutes_upper
FROM named
ORDER BY first_position, second_position
