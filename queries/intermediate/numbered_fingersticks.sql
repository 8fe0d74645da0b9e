-- title = "Fingersticks with a number each"
-- row = "one fingerstick"
-- role = "view"
-- [columns]
-- wearer = { class = "wearer" }
-- time = { class = "time" }
-- glucose = { class = "estimate" }
-- purpose = { class = "category" }
-- meter = { class = "identifying" }
-- fingerstick_no = { class = "identifying", type = "integer" }
SELECT
    wearer,
    time,
    glucose,
    purpose,
    meter,
    ROW_NUMBER() OVER (ORDER BY wearer, time, glucose, purpose, meter NULLS FIRST) AS fingerstick_no
FROM fingersticks
