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
SELECT p.*
FROM pairs AS p
LEFT ANTI JOIN left_out AS o ON o.wearer = p.wearer AND o.sensor = p.sensor
LEFT ANTI JOIN doubted_checks AS d
    ON d.wearer = p.wearer AND d.fingerstick_time = p.fingerstick_time AND d.fingerstick = p.fingerstick
