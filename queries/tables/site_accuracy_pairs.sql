-- title = "Pairs of sites: how sensors read"
-- row = "one pair of sites and one measure"
-- section = "compare"
-- order = 6
-- show = 30
-- note = "The second site less the first: a bias above 0 means that its sensors read higher. Mixed model over all sites: site fixed, wearer and sensor random, each site with its own variance. t and all p are those of the percent. Below ten sensors a site read the p by permutation, beside the smallest that these data could give (the larger of the two p where sensors scatter more at one of the sites); the adjusted p (Holm) allows for the number of pairs."
-- [columns]
-- site_a = { label = "Site", class = "site" }
-- site_b = { label = "against", class = "site" }
-- measure = { label = "Measure", class = "category" }
-- sensors = { label = "Sensors", class = "count" }
-- difference = { label = "Difference", unit = "mg/dL", digits = 1, class = "estimate" }
-- difference_lower = { unit = "mg/dL", digits = 1, class = "lower" }
-- difference_upper = { unit = "mg/dL", digits = 1, class = "upper" }
-- percent = { label = "in percent", unit = "%", digits = 1, class = "estimate" }
-- percent_lower = { unit = "%", digits = 1, class = "lower" }
-- percent_upper = { unit = "%", digits = 1, class = "upper" }
-- t = { label = "t", digits = 2, class = "estimate" }
-- df = { label = "Degrees of freedom", digits = 1, class = "estimate" }
-- p = { label = "p", digits = 4, class = "p" }
-- p_permutation = { label = "p by permutation", digits = 4, class = "p" }
-- smallest_p = { label = "smallest possible", digits = 4, class = "p" }
-- p_holm = { label = "adjusted p", digits = 4, class = "p" }
-- refused = { label = "Not estimated because", class = "category" }
WITH listed AS (
    SELECT
        measure,
        UNNEST(site_differences(
            pairs, percent_mean, percent_squares, position, wearer, 'site_accuracy_pairs ' || measure
        )) AS percent
    FROM sensor_errors
    GROUP BY measure
),
absolutes AS (
    SELECT
        measure,
        UNNEST(adjusted_site_differences(pairs, mean, squares, position, wearer, '', '', '', 0, 0)) AS absolute
    FROM sensor_errors
    GROUP BY measure
),
fits AS (
    SELECT
        a.site AS site_a,
        b.site AS site_b,
        a.position AS position_a,
        b.position AS position_b,
        l.measure,
        l.percent,
        d.absolute
    FROM listed AS l
    INNER JOIN absolutes AS d
        ON
            d.measure = l.measure
            AND get_field(d.absolute, 'position_a') = get_field(l.percent, 'position_a')
            AND get_field(d.absolute, 'position_b') = get_field(l.percent, 'position_b')
    INNER JOIN sites AS a ON a.position = get_field(l.percent, 'position_a')
    INNER JOIN sites AS b ON b.position = get_field(l.percent, 'position_b')
),
tested AS (
    SELECT *, get_field(percent, 'p_permutation') AS p_permutation
    FROM fits
)
SELECT
    site_a,
    site_b,
    measure,
    CAST(get_field(percent, 'sensors') AS BIGINT) AS sensors,
    get_field(absolute, 'difference') AS difference,
    get_field(absolute, 'lower') AS difference_lower,
    get_field(absolute, 'upper') AS difference_upper,
    get_field(percent, 'difference') AS percent,
    get_field(percent, 'lower') AS percent_lower,
    get_field(percent, 'upper') AS percent_upper,
    get_field(percent, 'difference') / NULLIF(get_field(percent, 'std_error'), 0) AS t,
    get_field(percent, 'df') AS df,
    get_field(percent, 'p') AS p,
    p_permutation,
    get_field(percent, 'smallest_p') AS smallest_p,
    holm(p_permutation) OVER (PARTITION BY measure) AS p_holm,
    CASE get_field(percent, 'refusal')
        WHEN 1 THEN 'one site only'
        WHEN 2 THEN 'too few sensors'
        WHEN 3 THEN 'sites cannot be told apart'
    END AS refused
FROM tested
ORDER BY measure DESC, position_a, position_b
