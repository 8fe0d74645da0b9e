-- title = "Two sensors worn at once"
-- row = "two sensors of one wearer"
-- section = "compare"
-- order = 12
-- show = 60
-- note = "First less second over their common readings, after warm-up; no fingerstick is needed. Percent of the mean of the two. Lag: minutes by which the first is behind the second."
-- [columns]
-- wearer = { label = "Wearer", class = "wearer" }
-- first_site = { label = "First site", class = "site" }
-- second_site = { label = "Second site", class = "site" }
-- first_sensor = { label = "First sensor", class = "sensor" }
-- second_sensor = { label = "Second sensor", class = "sensor" }
-- first_no = { hidden = true, class = "sensor", type = "integer" }
-- second_no = { hidden = true, class = "sensor", type = "integer" }
-- both_from = { label = "Both worn from", hidden = true, class = "time" }
-- readings = { label = "Readings in common", class = "count" }
-- hours = { label = "Hours in common", digits = 0, class = "estimate" }
-- difference = { label = "Mean difference", unit = "mg/dL", digits = 1, class = "estimate" }
-- percent = { label = "Mean difference", unit = "%", digits = 1, class = "estimate" }
-- sd_differences = { label = "SD of the differences", unit = "mg/dL", digits = 1, class = "estimate" }
-- absolute_relative = { label = "Mean absolute relative difference", unit = "share", digits = 1, class = "estimate" }
-- lag_minutes = { label = "Lag", unit = "min", digits = 1, class = "estimate" }
SELECT
    p.wearer,
    p.first_site,
    p.second_site,
    p.first_sensor,
    p.second_sensor,
    p.both_from,
    f.readings,
    f.readings * p.spacing_minutes / 60 AS hours,
    f.difference,
    f.percent,
    f.sd AS sd_differences,
    f.absolute_relative,
    f.lag AS lag_minutes,
    p.first_no,
    p.second_no
FROM sensor_pairs AS p
INNER JOIN simultaneous_fits AS f ON f.first_no = p.first_no AND f.second_no = p.second_no
ORDER BY p.wearer, p.both_from, p.first_sensor, p.second_sensor
