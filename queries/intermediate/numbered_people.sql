-- title = "Wearers with a number each"
-- row = "one wearer of a sensor"
-- role = "intermediate"
-- [columns]
-- wearer = { class = "wearer" }
-- person_no = { class = "identifying", type = "integer" }
SELECT wearer, ROW_NUMBER() OVER (ORDER BY wearer) AS person_no
FROM (SELECT DISTINCT wearer FROM sessions) AS worn_by
ORDER BY person_no
