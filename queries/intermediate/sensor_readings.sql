-- title = "Readings of each sensor"
-- row = "one inserted sensor that has readings"
-- role = "per-sensor"
-- [columns]
-- sensor_no = { class = "sensor", type = "integer" }
-- readings = { class = "count" }
-- used = { class = "count" }
-- warm_readings = { class = "count" }
-- last_reading = { class = "time" }

-- Readings before the insertion or after the end are counted, and used for nothing.
SELECT
    k.sensor_no,
    COUNT(*) AS readings,
    SUM(CASE WHEN r.time >= k.inserted AND r.time <= k.worn_until THEN 1 ELSE 0 END) AS used,
    SUM(CASE
        WHEN r.time >= k.warm_from AND r.time <= k.worn_until AND r.status IN ('ok', 'low', 'high') THEN 1
        ELSE 0
    END) AS warm_readings,
    MAX(CASE WHEN r.time >= k.inserted AND r.time <= k.worn_until THEN r.time END) AS last_reading
FROM insertions AS k
INNER JOIN readings AS r ON r.sensor_no = k.sensor_no
GROUP BY k.sensor_no
