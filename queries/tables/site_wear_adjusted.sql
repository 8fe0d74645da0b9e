-- title = "Pairs of sites, adjusted for what else differed"
-- row = "one pair of sites, as worn or adjusted"
-- section = "compare"
-- order = 2
-- note = "Cox's hazard ratio of the second site to the first, wearers as strata. Adjusted: for tape, side, model, calendar time and order of wear, as far as they vary. Five sensors that came off are asked for each coefficient."
-- [columns]
-- site_a = { label = "Site", class = "site" }
-- site_b = { label = "against", class = "site" }
-- version = { label = "Version", class = "category" }
-- sensors = { label = "Sensors", class = "count" }
-- detached = { label = "came off", class = "count" }
-- coefficients = { label = "Coefficients", class = "count" }
-- hazard_ratio = { label = "Hazard ratio", digits = 2, class = "estimate" }
-- lower = { label = "from", digits = 2, class = "lower" }
-- upper = { label = "to", digits = 2, class = "upper" }
-- p = { label = "p", digits = 4, class = "p" }
-- estimate = { label = "Estimate", class = "category" }
-- refused = { label = "Refused because", class = "category" }
WITH started AS (
    SELECT MIN(inserted) AS first_insert FROM lives
),
fits AS (
    SELECT
        l.site_a,
        l.site_b,
        l.position_a,
        l.position_b,
        COUNT(*) AS sensors,
        SUM(l.event) AS detached,
        hazard_ratio(l.day, l.event, l.in_b, l.wearer) AS as_worn,
        adjusted_hazard_ratio(
            l.day,
            l.event,
            l.in_b,
            l.wearer,
            l.tape,
            l.side,
            l.model,
            days_between(t.first_insert, l.inserted),
            l.order_of_wear
        ) AS adjusted
    FROM site_pair_lives AS l
    CROSS JOIN started AS t
    GROUP BY l.site_a, l.site_b, l.position_a, l.position_b
),
versions AS (
    SELECT site_a, site_b, position_a, position_b, sensors, detached, 1 AS place, 'as worn' AS version, as_worn AS fit
    FROM fits
    UNION ALL
    SELECT site_a, site_b, position_a, position_b, sensors, detached, 2 AS place, 'adjusted' AS version, adjusted AS fit
    FROM fits
)
SELECT
    site_a,
    site_b,
    version,
    sensors,
    detached,
    CAST(get_field(fit, 'coefficients') AS BIGINT) AS coefficients,
    get_field(fit, 'hazard_ratio') AS hazard_ratio,
    get_field(fit, 'lower') AS lower,
    get_field(fit, 'upper') AS upper,
    get_field(fit, 'p') AS p,
    CASE get_field(fit, 'penalised') WHEN 1 THEN 'Firth' WHEN 0 THEN 'Cox' END AS estimate,
    CASE get_field(fit, 'refusal')
        WHEN 1 THEN 'no sensor came off'
        WHEN 2 THEN 'too few sensors came off for so many things to adjust for'
        WHEN 3 THEN 'no wearer had both sites under watch when a sensor came off'
        WHEN 4 THEN 'the estimate did not settle'
    END AS refused
FROM versions
ORDER BY position_a, position_b, place
