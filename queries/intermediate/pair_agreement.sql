-- title = "Pairs with what counts as agreement"
-- row = "one fingerstick and the nearest reading of one sensor"
-- role = "view"
-- [columns]
-- wearer = { class = "wearer" }
-- sensor = { class = "sensor" }
-- site = { class = "site" }
-- fingerstick_time = { class = "time" }
-- reading_time = { class = "time" }
-- fingerstick = { class = "estimate" }
-- reading = { class = "estimate" }
-- difference = { class = "estimate" }
-- relative_difference = { class = "estimate" }
-- wear_days = { class = "estimate" }
-- sensor_no = { class = "sensor", type = "integer" }
-- fingerstick_no = { class = "identifying", type = "integer" }
-- ard = { class = "estimate" }
-- in_15_15 = { class = "category", type = "number" }
-- in_20_20 = { class = "category", type = "number" }
-- in_40_40 = { class = "category", type = "number" }
-- in_20_percent = { class = "category", type = "number" }
SELECT
    *,
    ABS(relative_difference) AS ard,
    CASE WHEN within_limit(reading, fingerstick, 15) THEN 1.0 ELSE 0.0 END AS in_15_15,
    CASE WHEN within_limit(reading, fingerstick, 20) THEN 1.0 ELSE 0.0 END AS in_20_20,
    CASE WHEN within_limit(reading, fingerstick, 40) THEN 1.0 ELSE 0.0 END AS in_40_40,
    CASE WHEN within_percent(reading, fingerstick, 20) THEN 1.0 ELSE 0.0 END AS in_20_percent
FROM compared_pairs
