-- title = "Pairs of sites: how long sensors stay on"
-- row = "one pair of sites"
-- section = "compare"
-- order = 1
-- note = "The hazard ratio is that of the second site to the first: above 1 where its sensors come off sooner. Wearers are strata. Below ten sensors a site read the p by permutation, beside the smallest that these data could give; the adjusted p (Holm) allows for the number of pairs. Firth: one site had all events or none, and the estimate is a penalised one."
-- [columns]
-- site_a = { label = "Site", class = "site" }
-- site_b = { label = "against", class = "site" }
-- sensors = { label = "Sensors", class = "count" }
-- detached = { label = "came off", class = "count" }
-- hazard_ratio = { label = "Hazard ratio", digits = 2, class = "estimate" }
-- lower = { label = "from", digits = 2, class = "lower" }
-- upper = { label = "to", digits = 2, class = "upper" }
-- estimate = { label = "Estimate", class = "category" }
-- p = { label = "Log-rank p", digits = 4, class = "p" }
-- p_permutation = { label = "p by permutation", digits = 4, class = "p" }
-- smallest_p = { label = "smallest possible", digits = 4, class = "p" }
-- p_holm = { label = "adjusted p", digits = 4, class = "p" }
-- refused = { label = "Not estimated because", class = "category" }
WITH tests AS (
    SELECT
        site_a,
        site_b,
        position_a,
        position_b,
        COUNT(*) AS sensors,
        SUM(event) AS detached,
        hazard_ratio(day, event, in_b, wearer) AS ratio,
        log_rank(day, event, site, wearer, block, 'site_wear_pairs ' || site_a || ' ' || site_b) AS test
    FROM site_pair_lives
    GROUP BY site_a, site_b, position_a, position_b
),
fields AS (
    SELECT
        *,
        get_field(ratio, 'refusal') AS refusal,
        get_field(test, 'p_permutation') AS p_permutation
    FROM tests
)
SELECT
    site_a,
    site_b,
    sensors,
    detached,
    get_field(ratio, 'hazard_ratio') AS hazard_ratio,
    get_field(ratio, 'lower') AS lower,
    get_field(ratio, 'upper') AS upper,
    CASE get_field(ratio, 'penalised') WHEN 1 THEN 'Firth' WHEN 0 THEN 'Cox' END AS estimate,
    get_field(test, 'p') AS p,
    p_permutation,
    get_field(test, 'smallest_p') AS smallest_p,
    holm(p_permutation) OVER () AS p_holm,
    CASE refusal
        WHEN 1 THEN 'no sensor came off'
        WHEN 2 THEN 'too few sensors came off'
        WHEN 3 THEN 'no wearer had both sites under watch when a sensor came off'
        WHEN 4 THEN 'the estimate did not settle'
    END AS refused
FROM fields
ORDER BY position_a, position_b
