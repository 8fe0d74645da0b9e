-- title = "Evidence that two sites differ, however often one looks"
-- row = "one pair of sites and one measure"
-- section = "compare"
-- order = 0
-- show = 40
-- note = "You may look at this every month and stop when you like. If sites did not differ, evidence of 20 or more would come up in at most one study of twenty, over all months together. The last column allows for all rows of this table as well (Vovk and Wang 2021): a row with 20 or more there stands for itself."
-- [columns]
-- look = { hidden = true, class = "time" }
-- measure = { label = "Measure", class = "category" }
-- site_a = { label = "Site", class = "site" }
-- site_b = { label = "against", class = "site" }
-- alternative = { label = "Built for", class = "category" }
-- log_e = { hidden = true, class = "estimate" }
-- evidence = { label = "Evidence", digits = 1, class = "estimate" }
-- evidence_all = { label = "Allowing for all rows", digits = 1, class = "estimate" }
WITH at_cutoff AS (
    SELECT *, EXP(log_e) AS evidence
    FROM all_looks
    WHERE look = (SELECT cutoff FROM settings)
),
ranked AS (
    SELECT
        *,
        ROW_NUMBER() OVER (ORDER BY evidence, place, position_a, position_b) AS rank,
        SUM(evidence) OVER (
            ORDER BY evidence, place, position_a, position_b ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW
        ) AS sum_to
    FROM at_cutoff
),
-- The least mean of any set of rows that holds this one: itself with the weakest others.
means AS (
    SELECT
        r.measure,
        r.site_a,
        r.site_b,
        MIN(CASE WHEN k.rank < r.rank THEN (r.evidence + k.sum_to) / (k.rank + 1) ELSE k.sum_to / k.rank END) AS evidence_all
    FROM ranked AS r
    CROSS JOIN ranked AS k
    GROUP BY r.measure, r.site_a, r.site_b
)
SELECT
    r.look,
    r.measure,
    r.site_a,
    r.site_b,
    r.alternative,
    r.log_e,
    r.evidence,
    LEAST(r.evidence, m.evidence_all) AS evidence_all
FROM ranked AS r
INNER JOIN means AS m ON m.measure = r.measure AND m.site_a = r.site_a AND m.site_b = r.site_b
ORDER BY r.evidence DESC, r.place, r.position_a, r.position_b
