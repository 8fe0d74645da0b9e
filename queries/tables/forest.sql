-- title = "How much truer one site reads than another, person by person"
-- row = "one person who wore both sites of a pair, or all of them"
-- section = "people"
-- order = 7
-- note = "Mean absolute relative difference at the first site less that at the second, percentage points: below zero, the first reads truer in that person. The pairs of sites that were told apart, then those that most people wore both of, at most thirty people of each, those with most weight; all others are in wearer_differences. A new person: the mean, and where one more would lie 95 of 100 times."
-- chart = { kind = "intervals", x = "difference", y = "wearer_or_all", lower = "lower", upper = "upper", series = "sites" }
-- [columns]
-- sites = { label = "Sites", class = "identifying" }
-- wearer = { hidden = true, class = "wearer" }
-- wearer_or_all = { label = "Person", class = "identifying" }
-- difference = { label = "Difference in absolute error, points", digits = 1, class = "estimate" }
-- lower = { label = "from", digits = 1, class = "lower" }
-- upper = { label = "to", digits = 1, class = "upper" }
-- weight = { label = "Weight", unit = "share", digits = 0, class = "share" }

-- A forest plot: a row for each person, then the mean over people and what a new one would have.
WITH told AS (
    SELECT
        w.*,
        w.site || ' / ' || w.against AS sites,
        CASE WHEN c.verdict IN ('differs', 'leans') AND c.withdrawn IS NULL THEN 0 ELSE 1 END AS untold,
        COUNT(*) OVER (PARTITION BY w.site, w.against) AS wearers
    FROM within_wearers AS w
    LEFT JOIN conclusions AS c ON c.measure = w.measure AND c.site = w.site AND c.against = w.against
    WHERE w.measure = 'reads-true' AND w.weight IS NOT NULL
),
ranked AS (
    SELECT
        *,
        DENSE_RANK() OVER (ORDER BY untold, wearers DESC, position, against_position) AS pair_no,
        ROW_NUMBER() OVER (PARTITION BY site, against ORDER BY weight DESC, wearer) AS person_rank
    FROM told
),
drawn AS (
    SELECT *
    FROM ranked
    WHERE pair_no <= 2 AND person_rank <= 30
),
rows_of_plot AS (
    SELECT pair_no, 1 AS part, sites, wearer, wearer AS wearer_or_all, difference, lower, upper, weight
    FROM drawn
    UNION ALL
    SELECT
        pair_no,
        2 AS part,
        sites,
        NULL AS wearer,
        'over people' AS wearer_or_all,
        mean AS difference,
        mean_lower AS lower,
        mean_upper AS upper,
        NULL AS weight
    FROM drawn
    WHERE person_rank = 1
    UNION ALL
    SELECT
        pair_no,
        3 AS part,
        sites,
        NULL AS wearer,
        'a new person' AS wearer_or_all,
        mean AS difference,
        new_lower AS lower,
        new_upper AS upper,
        NULL AS weight
    FROM drawn
    WHERE person_rank = 1 AND new_lower IS NOT NULL
)
SELECT sites, wearer, wearer_or_all, difference, lower, upper, weight
FROM rows_of_plot
ORDER BY part, wearer_or_all, pair_no
