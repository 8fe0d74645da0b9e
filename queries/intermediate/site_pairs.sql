-- title = "Pairs of sites that were worn"
-- row = "one pair of sites, in the order of the report"
-- role = "intermediate"
-- [columns]
-- site = { class = "site" }
-- against = { class = "site" }
-- position = { class = "category", type = "integer" }
-- against_position = { class = "category", type = "integer" }
WITH worn AS (
    SELECT s.site, s.position
    FROM sites AS s
    INNER JOIN (SELECT DISTINCT site FROM lives) AS l ON l.site = s.site
)
SELECT a.site AS site, b.site AS against, a.position AS position, b.position AS against_position
FROM worn AS a
CROSS JOIN worn AS b
WHERE a.position < b.position
ORDER BY a.position, b.position
