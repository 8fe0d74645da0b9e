-- title = "Errors of each sensor for each pair of sites"
-- row = "one sensor, one measure and one pair of sites"
-- role = "step"

-- `role`: 1 worn at the first site of the pair, 2 at the second, 0 elsewhere.
WITH measured AS (
    SELECT DISTINCT site, position FROM sensor_errors
)
SELECT
    a.site AS site_a,
    b.site AS site_b,
    a.position AS position_a,
    b.position AS position_b,
    CASE WHEN e.site = a.site THEN 1 WHEN e.site = b.site THEN 2 ELSE 0 END AS role,
    e.*
FROM measured AS a
CROSS JOIN measured AS b
CROSS JOIN sensor_errors AS e
WHERE a.position < b.position
ORDER BY a.position, b.position, e.measure, e.wearer, e.inserted, e.sensor
