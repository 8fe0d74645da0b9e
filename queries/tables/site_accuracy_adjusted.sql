-- title = "Pairs of sites: how sensors read, adjusted for what else differed"
-- row = "one pair of sites and one measure, as worn or adjusted"
-- section = "compare"
-- order = 7
-- show = 20
-- note = "The second site less the first, in percent, by the mixed model over all sites, each with its own variance. Adjusted: for tape, side, model, calendar time and order of wear, as far as they vary. Refused where sites cannot be told apart from these, or no degree of freedom between sensors is left."
-- [columns]
-- site_a = { label = "Site", class = "site" }
-- site_b = { label = "against", class = "site" }
-- measure = { label = "Measure", class = "category" }
-- version = { label = "Version", class = "category" }
-- sensors = { label = "Sensors", class = "count" }
-- covariates = { label = "Adjusted for", class = "count" }
-- percent = { label = "Difference", unit = "%", digits = 1, class = "estimate" }
-- percent_lower = { unit = "%", digits = 1, class = "lower" }
-- percent_upper = { unit = "%", digits = 1, class = "upper" }
-- df = { label = "Degrees of freedom", digits = 1, class = "estimate" }
-- p = { label = "p", digits = 4, class = "p" }
-- refused = { label = "Refused because", class = "category" }
WITH started AS (
    SELECT MIN(inserted) AS first_insert FROM sessions
),
listed AS (
    SELECT
        e.measure,
        UNNEST(adjusted_site_differences(
            e.pairs, e.percent_mean, e.percent_squares, e.position, e.wearer,
            e.tape, e.side, e.model, days_between(t.first_insert, e.inserted), e.order_of_wear
        )) AS fit
    FROM sensor_errors AS e
    CROSS JOIN started AS t
    GROUP BY e.measure
),
versions AS (
    SELECT
        a.site AS site_a,
        b.site AS site_b,
        l.measure,
        2 AS place,
        'adjusted' AS version,
        CAST(get_field(l.fit, 'sensors') AS BIGINT) AS sensors,
        CAST(get_field(l.fit, 'covariates') AS BIGINT) AS covariates,
        get_field(l.fit, 'difference') AS percent,
        get_field(l.fit, 'lower') AS percent_lower,
        get_field(l.fit, 'upper') AS percent_upper,
        get_field(l.fit, 'df') AS df,
        get_field(l.fit, 'p') AS p,
        CASE get_field(l.fit, 'refusal')
            WHEN 1 THEN 'one site only'
            WHEN 2 THEN 'too few sensors for so many things to adjust for'
            WHEN 3 THEN 'sites cannot be told apart from what is adjusted for'
        END AS refused
    FROM listed AS l
    INNER JOIN sites AS a ON a.position = get_field(l.fit, 'position_a')
    INNER JOIN sites AS b ON b.position = get_field(l.fit, 'position_b')
    UNION ALL
    SELECT
        site_a,
        site_b,
        measure,
        1 AS place,
        'as worn' AS version,
        sensors,
        CASE WHEN refused IS NULL THEN 0 END AS covariates,
        percent,
        percent_lower,
        percent_upper,
        df,
        p,
        refused
    FROM site_accuracy_pairs
)
SELECT
    v.site_a,
    v.site_b,
    v.measure,
    v.version,
    v.sensors,
    v.covariates,
    v.percent,
    v.percent_lower,
    v.percent_upper,
    v.df,
    v.p,
    v.refused
FROM versions AS v
INNER JOIN sites AS a ON a.site = v.site_a
INNER JOIN sites AS b ON b.site = v.site_b
ORDER BY v.measure DESC, a.position, b.position, v.place
