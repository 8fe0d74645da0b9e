-- title = "Pairs that sites are compared by"
-- row = "one fingerstick and the nearest reading of one sensor whose clock and unit are not doubted"
-- role = "view"
SELECT p.*
FROM pairs AS p
LEFT ANTI JOIN left_out AS o ON o.wearer = p.wearer AND o.sensor = p.sensor
