-- title = "The sensors of each pair of sites"
-- row = "one sensor in one pair of sites"
-- role = "view"
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
SELECT
    p.site AS site_a,
    p.against AS site_b,
    p.position AS position_a,
    p.against_position AS position_b,
    CASE WHEN l.site = p.against THEN 1 ELSE 0 END AS in_b,
    l.*
FROM site_pairs AS p
INNER JOIN lives AS l ON l.site = p.site OR l.site = p.against
