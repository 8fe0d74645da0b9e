-- title = "Pairs that sites are compared by"
-- row = "one fingerstick and the nearest reading of one sensor, neither of which is doubted"
-- role = "view"
-- [columns]
-- fingerstick = { class = "estimate" }
-- reading = { class = "estimate" }
-- difference = { class = "estimate" }
-- relative_difference = { class = "estimate" }
-- wearer = { class = "wearer" }
-- sensor = { class = "sensor" }
-- site = { class = "site" }
-- fingerstick_time = { class = "time" }
-- reading_time = { class = "time" }
-- wear_days = { class = "estimate" }
-- sensor_no = { class = "sensor", type = "integer" }
-- fingerstick_no = { class = "identifying", type = "integer" }
WITH of_worn AS (
    SELECT p.*
    FROM left_out AS o
    RIGHT ANTI JOIN pairs AS p ON o.wearer = p.wearer AND o.sensor = p.sensor AND o.reason <> 'thin'
)
SELECT p.*
FROM doubted_checks AS d
RIGHT ANTI JOIN of_worn AS p
    ON d.wearer = p.wearer AND d.fingerstick_time = p.fingerstick_time AND d.fingerstick = p.fingerstick
