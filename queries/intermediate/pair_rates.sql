-- title = "How fast each paired reading was moving"
-- row = "one pair whose sensor has readings over the quarter of an hour before"
-- role = "per-sensor"
-- [columns]
-- fingerstick_no = { class = "identifying", type = "integer" }
-- sensor_no = { class = "sensor", type = "integer" }
-- rate = { class = "estimate" }

-- Slope of the least-squares line through the readings of the 15 minutes up to the paired one. They have to span 10
-- minutes; half a minute is allowed for clocks that do not tick evenly.
SELECT
    p.fingerstick_no,
    p.sensor_no,
    REGR_SLOPE(r.glucose, r.minutes) AS rate
FROM compared_pairs AS p
INNER JOIN near_readings AS r ON r.fingerstick_no = p.fingerstick_no AND r.sensor_no = p.sensor_no
WHERE
    r.status = 'ok'
    AND r.warm
    AND r.time <= p.reading_time
    AND minutes_between(r.time, p.reading_time) <= 15.5
GROUP BY p.fingerstick_no, p.sensor_no
HAVING MAX(r.minutes) - MIN(r.minutes) >= 9.5
