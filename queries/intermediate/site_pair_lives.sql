-- title = "The sensors of each pair of sites"
-- row = "one sensor in one pair of sites"
-- role = "intermediate"
WITH worn AS (
    SELECT s.site, s.position
    FROM sites AS s
    INNER JOIN (SELECT DISTINCT site FROM lives) AS l ON l.site = s.site
),
pairs AS (
    SELECT a.site AS site_a, b.site AS site_b, a.position AS position_a, b.position AS position_b
    FROM worn AS a
    CROSS JOIN worn AS b
    WHERE a.position < b.position
),
members AS (
    SELECT p.*, 0 AS in_b, l.*
    FROM pairs AS p
    INNER JOIN lives AS l ON l.site = p.site_a
    UNION ALL
    SELECT p.*, 1 AS in_b, l.*
    FROM pairs AS p
    INNER JOIN lives AS l ON l.site = p.site_b
)
SELECT *
FROM members
ORDER BY position_a, position_b, wearer, inserted, sensor
