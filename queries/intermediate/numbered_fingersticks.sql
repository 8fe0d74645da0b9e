-- title = "Fingersticks with a number each"
-- row = "one fingerstick"
-- role = "view"
SELECT
    wearer,
    time,
    glucose,
    purpose,
    ROW_NUMBER() OVER (ORDER BY wearer, time, glucose, purpose, meter) AS fingerstick_no
FROM fingersticks
