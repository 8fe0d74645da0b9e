-- title = "Errors of each sensor for each pair of sites"
-- row = "one sensor worn at either of a pair of sites, and one measure"
-- role = "intermediate"

WITH measured AS (
    SELECT DISTINCT site, position FROM sensor_errors
)
SELECT
    a.site AS site_a,
    b.site AS site_b,
    a.position AS position_a,
    b.position AS position_b,
    CASE WHEN e.site = b.site THEN 1 ELSE 0 END AS in_b,
    e.*
FROM measured AS a
INNER JOIN measured AS b ON b.position > a.position
INNER JOIN sensor_errors AS e ON e.site = a.site OR e.site = b.site
ORDER BY a.position, b.position, e.measure, e.wearer, e.inserted, e.sensor
