-- title = "Evidence that earlier reports gave otherwise"
-- row = "one pair of sites at the cut-off of an earlier report"
-- section = "quality"
-- order = 9
-- note = "The log was corrected, or data were added, after that report. What it said is kept, and is not rewritten."
-- [columns]
-- look = { label = "Cut-off of the report", class = "time" }
-- measure = { label = "Measure", class = "category" }
-- site_a = { label = "Site", class = "site" }
-- site_b = { label = "against", class = "site" }
-- evidence_then = { label = "Evidence as reported", digits = 1, class = "estimate" }
-- evidence_now = { label = "as computed now", digits = 1, class = "estimate" }
SELECT
    k.look,
    k.measure,
    k.site_a,
    k.site_b,
    EXP(k.log_e) AS evidence_then,
    EXP(n.log_e) AS evidence_now
FROM kept_evidence AS k
LEFT JOIN all_looks AS n
    ON n.look = k.look AND n.measure = k.measure AND n.site_a = k.site_a AND n.site_b = k.site_b
WHERE k.look <= (SELECT cutoff FROM settings) AND (n.log_e IS NULL OR ABS(n.log_e - k.log_e) > 1e-6)
ORDER BY k.look, k.measure, k.site_a, k.site_b
