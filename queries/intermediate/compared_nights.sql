-- title = "Sensor-nights that sites are compared by"
-- row = "one night of one sensor whose clock and unit are not doubted"
-- role = "view"
SELECT n.*
FROM sensor_nights AS n
LEFT ANTI JOIN left_out AS o ON o.wearer = n.wearer AND o.sensor = n.sensor
