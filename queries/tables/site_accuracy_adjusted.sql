-- title = "Pairs of sites: how sensors read, adjusted for what else differed"
-- row = "one pair of sites and one measure, as worn or adjusted"
-- section = "compare"
-- order = 7
-- show = 20
-- note = "The second site less the first, in percent, by the mixed model over all sites. Adjusted: for tape, side, model, calendar time and order of wear, as far as they vary. Refused where sites cannot be told apart from these, or no degree of freedom between sensors is left."
-- [columns]
-- site_a = { label = "Site" }
-- site_b = { label = "against" }
-- measure = { label = "Measure" }
-- version = { label = "Version" }
-- sensors = { label = "Sensors" }
-- covariates = { label = "Adjusted for" }
-- percent = { label = "Difference", unit = "%", digits = 1 }
-- percent_lower = { unit = "%", digits = 1 }
-- percent_upper = { unit = "%", digits = 1 }
-- df = { label = "Degrees of freedom", digits = 1 }
-- p = { label = "p", digits = 4 }
-- refused = { label = "Refused because" }
WITH started AS (
    SELECT MIN(inserted) AS first_insert FROM sessions
),
fits AS (
    SELECT
        e.site_a,
        e.site_b,
        e.position_a,
        e.position_b,
        e.measure,
        SUM(CASE WHEN e.role > 0 THEN 1 ELSE 0 END) AS sensors,
        adjusted_site_difference(
            e.pairs, e.percent_mean, e.percent_squares, e.role, e.site, e.wearer, '', '', '', 0, 0
        ) AS as_worn,
        adjusted_site_difference(
            e.pairs, e.percent_mean, e.percent_squares, e.role, e.site, e.wearer,
            e.tape, e.side, e.model, days_between(t.first_insert, e.inserted), e.order_of_wear
        ) AS adjusted
    FROM site_pair_errors AS e
    CROSS JOIN started AS t
    GROUP BY e.site_a, e.site_b, e.position_a, e.position_b, e.measure
),
versions AS (
    SELECT site_a, site_b, position_a, position_b, measure, sensors, 1 AS place, 'as worn' AS version, as_worn AS fit
    FROM fits
    UNION ALL
    SELECT site_a, site_b, position_a, position_b, measure, sensors, 2 AS place, 'adjusted' AS version, adjusted AS fit
    FROM fits
)
SELECT
    site_a,
    site_b,
    measure,
    version,
    sensors,
    CAST(get_field(fit, 'covariates') AS BIGINT) AS covariates,
    get_field(fit, 'difference') AS percent,
    get_field(fit, 'lower') AS percent_lower,
    get_field(fit, 'upper') AS percent_upper,
    get_field(fit, 'df') AS df,
    get_field(fit, 'p') AS p,
    CASE get_field(fit, 'refusal')
        WHEN 1 THEN 'one site only'
        WHEN 2 THEN 'too few sensors for so many things to adjust for'
        WHEN 3 THEN 'sites cannot be told apart from what is adjusted for'
    END AS refused
FROM versions
ORDER BY measure DESC, position_a, position_b, place
