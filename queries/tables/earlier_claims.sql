-- title = "What earlier reports claimed and this one does not"
-- row = "one claim of an earlier report"
-- section = "quality"
-- order = 9
-- note = "The log was corrected, data were added, or what went with a site came to light after that report. What it said is kept, and is not rewritten."
-- [columns]
-- look = { label = "Cut-off of the report", class = "time" }
-- measure = { label = "Measure", class = "category" }
-- site = { label = "Site", class = "site" }
-- against = { label = "against", class = "site" }
-- verdict_then = { label = "It said", class = "category" }
-- verdict_now = { label = "Now", class = "category" }
-- evidence_then = { label = "Evidence as reported", digits = 1, class = "estimate" }
-- evidence_now = { label = "Evidence now", digits = 1, class = "estimate" }
SELECT
    k.look,
    k.measure,
    k.site,
    k.against,
    k.verdict AS verdict_then,
    COALESCE(c.verdict, '') AS verdict_now,
    k.evidence AS evidence_then,
    c.evidence AS evidence_now
FROM kept_evidence AS k
LEFT JOIN conclusions AS c ON c.measure = k.measure AND c.site = k.site AND c.against = k.against
WHERE
    k.look < (SELECT cutoff FROM settings)
    AND k.verdict IN ('differs', 'alike')
    AND (c.verdict IS NULL OR c.verdict <> k.verdict)
ORDER BY k.look, k.measure, k.site, k.against
