-- title = "Readings of the last day of sensors that ended early"
-- row = "one reading"
-- role = "intermediate"
-- [columns]
-- panel = { class = "category", type = "integer" }
-- time = { class = "time" }
-- glucose = { class = "estimate" }
-- status = { class = "category" }
SELECT
    e.panel,
    r.time,
    r.glucose,
    r.status
FROM early_ends AS e
INNER JOIN readings AS r ON r.sensor_no = e.sensor_no
WHERE
    r.time >= e.inserted
    AND r.time <= e.ended
    AND at_most(minutes_between(r.time, e.ended), 1440)
