-- title = "With which meters, and why, each site was checked"
-- row = "one site and one meter, or one reason to check"
-- section = "accuracy"
-- order = 9
-- note = "Pairs that sites are compared by. Where a site was checked with a meter of its own, or after alarms and the others by routine, its figures may be theirs."
-- show = 0
-- [columns]
-- site = { label = "Site", class = "site" }
-- meter = { label = "Meter", class = "identifying" }
-- purpose = { label = "Reason to check", class = "category" }
-- pairs = { label = "Pairs", class = "count" }
WITH checked AS (
    SELECT p.site, c.meter, CASE WHEN c.purpose IN ('alarm', 'doubt') THEN 'alarm' ELSE 'routine' END AS purpose
    FROM numbered_fingersticks AS c
    INNER JOIN compared_pairs AS p ON p.fingerstick_no = c.fingerstick_no
),
levels AS (
    SELECT site, meter, NULL AS purpose
    FROM checked
    WHERE meter IS NOT NULL
    UNION ALL
    SELECT site, NULL AS meter, purpose
    FROM checked
)
SELECT l.site, l.meter, l.purpose, COUNT(*) AS pairs
FROM levels AS l
INNER JOIN sites AS t ON t.site = l.site
GROUP BY l.site, t.position, l.meter, l.purpose
ORDER BY t.position, l.meter NULLS LAST, l.purpose
