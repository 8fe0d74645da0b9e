-- title = "With which meters, and why, each site was checked"
-- row = "one site and one meter, or one reason to check"
-- section = "accuracy"
-- order = 9
-- note = "Pairs that sites are compared by. Where a site was checked with a meter of its own, or after alarms and the others by routine, its figures may be theirs."
-- show = 0
-- [columns]
-- site = { label = "Site", class = "site" }
-- what = { label = "By", class = "category" }
-- level = { label = "Meter, or reason", class = "identifying" }
-- pairs = { label = "Pairs", class = "count" }
WITH checked AS (
    SELECT p.site, c.meter, CASE WHEN c.purpose IN ('alarm', 'doubt') THEN 'alarm' ELSE 'routine' END AS purpose
    FROM numbered_fingersticks AS c
    INNER JOIN compared_pairs AS p ON p.fingerstick_no = c.fingerstick_no
),
levels AS (
    SELECT site, 'meter' AS what, meter AS level
    FROM checked
    WHERE meter IS NOT NULL
    UNION ALL
    SELECT site, 'purpose' AS what, purpose AS level
    FROM checked
)
SELECT l.site, l.what, l.level, COUNT(*) AS pairs
FROM levels AS l
INNER JOIN sites AS t ON t.site = l.site
GROUP BY l.site, t.position, l.what, l.level
ORDER BY t.position, l.what, l.level
