-- title = "Pairs of sites: night artefacts"
-- row = "one pair of sites"
-- section = "compare"
-- order = 9
-- show = 40
-- note = "The rate of the second site over that of the first: above 1 where its nights are noisier. Wearers are strata; the interval lets sensors of one site differ beyond chance, by the dispersion of all sensors. Below ten sensors a site read the p by permutation, beside the smallest that these data could give; the adjusted p (Holm) allows for the number of pairs."
-- [columns]
-- site_a = { label = "Site", class = "site" }
-- site_b = { label = "against", class = "site" }
-- sensors = { label = "Sensors", class = "count" }
-- artefacts = { label = "Artefacts", class = "count" }
-- ratio = { label = "Rate ratio", digits = 2, class = "estimate" }
-- ratio_lower = { digits = 2, class = "lower" }
-- ratio_upper = { digits = 2, class = "upper" }
-- dispersion = { label = "Dispersion", digits = 2, class = "estimate" }
-- df = { label = "Degrees of freedom", digits = 0, class = "estimate" }
-- p = { label = "p", digits = 4, class = "p" }
-- p_permutation = { label = "p by permutation", digits = 4, class = "p" }
-- smallest_p = { label = "smallest possible", digits = 4, class = "p" }
-- p_holm = { label = "adjusted p", digits = 4, class = "p" }
WITH ratios AS (
    SELECT
        site_a,
        site_b,
        position_a,
        position_b,
        SUM(CASE WHEN role > 0 THEN 1 ELSE 0 END) AS sensors,
        SUM(CASE WHEN role > 0 THEN artefacts ELSE 0 END) AS artefacts,
        rate_ratio(artefacts, nights, role, site, wearer) AS ratio
    FROM site_pair_artefacts
    GROUP BY site_a, site_b, position_a, position_b
),
tests AS (
    SELECT
        site_a,
        site_b,
        rate_test(artefacts, nights, site, wearer, 'site_nights_pairs ' || site_a || ' ' || site_b) AS test
    FROM site_pair_artefacts
    WHERE role > 0
    GROUP BY site_a, site_b
),
fields AS (
    SELECT
        r.*,
        get_field(t.test, 'p_permutation') AS p_permutation,
        get_field(t.test, 'smallest_p') AS smallest_p
    FROM ratios AS r
    INNER JOIN tests AS t ON t.site_a = r.site_a AND t.site_b = r.site_b
)
SELECT
    site_a,
    site_b,
    sensors,
    artefacts,
    get_field(ratio, 'ratio') AS ratio,
    get_field(ratio, 'lower') AS ratio_lower,
    get_field(ratio, 'upper') AS ratio_upper,
    get_field(ratio, 'dispersion') AS dispersion,
    get_field(ratio, 'df') AS df,
    get_field(ratio, 'p') AS p,
    p_permutation,
    smallest_p,
    holm(p_permutation) OVER () AS p_holm
FROM fields
ORDER BY position_a, position_b
