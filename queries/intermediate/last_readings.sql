-- title = "Readings of the last day of sensors that ended early"
-- row = "one reading"
-- role = "intermediate"
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
    AND minutes_between(r.time, e.ended) <= 1440 * (1 + 1e-9)
