-- title = "Night artefacts of each sensor for each pair of sites"
-- row = "one sensor and one pair of sites"
-- role = "view"
-- [columns]
-- site_a = { class = "site" }
-- site_b = { class = "site" }
-- position_a = { class = "category", type = "integer" }
-- position_b = { class = "category", type = "integer" }
-- role = { class = "category", type = "integer" }
-- wearer = { class = "wearer" }
-- sensor = { class = "sensor" }
-- site = { class = "site" }
-- position = { class = "category", type = "integer" }
-- sensor_no = { class = "sensor", type = "integer" }
-- nights = { class = "count" }
-- artefacts = { class = "count" }
-- by_night = { class = "category" }
-- block = { class = "category" }
-- inserted = { class = "time" }
-- over_from = { class = "time" }

-- `role`: 1 worn at the first site of the pair, 2 at the second, 0 elsewhere.
WITH worn AS (
    SELECT DISTINCT site, position FROM sensor_artefacts
)
SELECT
    a.site AS site_a,
    b.site AS site_b,
    a.position AS position_a,
    b.position AS position_b,
    CASE WHEN n.site = a.site THEN 1 WHEN n.site = b.site THEN 2 ELSE 0 END AS role,
    n.*
FROM worn AS a
CROSS JOIN worn AS b
CROSS JOIN sensor_artefacts AS n
WHERE a.position < b.position
