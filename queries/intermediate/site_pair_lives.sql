-- title = "The sensors of each pair of sites"
-- row = "one sensor in one pair of sites"
-- role = "intermediate"
-- [columns]
-- site_a = { class = "site" }
-- site_b = { class = "site" }
-- position_a = { class = "category", type = "integer" }
-- position_b = { class = "category", type = "integer" }
-- in_b = { class = "category", type = "integer" }
-- wearer = { class = "wearer" }
-- sensor = { class = "sensor" }
-- site = { class = "site" }
-- day = { class = "estimate" }
-- event = { class = "category", type = "integer" }
-- ending = { class = "category", type = "integer" }
-- cause = { class = "category" }
-- any_ending = { class = "category", type = "integer" }
-- lost = { class = "count" }
-- block = { class = "category" }
-- tape = { class = "category" }
-- side = { class = "category" }
-- model = { class = "identifying" }
-- order_of_wear = { class = "category", type = "integer" }
-- inserted = { class = "time" }
-- seen_until = { class = "time" }
-- known_until = { class = "time" }
-- rated_days = { class = "estimate" }
WITH worn AS (
    SELECT s.site, s.position
    FROM sites AS s
    INNER JOIN (SELECT DISTINCT site FROM lives) AS l ON l.site = s.site
),
both_sites AS (
    SELECT a.site AS site_a, b.site AS site_b, a.position AS position_a, b.position AS position_b
    FROM worn AS a
    CROSS JOIN worn AS b
    WHERE a.position < b.position
),
members AS (
    SELECT p.*, 0 AS in_b, l.*
    FROM both_sites AS p
    INNER JOIN lives AS l ON l.site = p.site_a
    UNION ALL
    SELECT p.*, 1 AS in_b, l.*
    FROM both_sites AS p
    INNER JOIN lives AS l ON l.site = p.site_b
)
SELECT *
FROM members
ORDER BY position_a, position_b, wearer, inserted, sensor
