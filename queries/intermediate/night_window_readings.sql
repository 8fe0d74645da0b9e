-- title = "Readings in the stretches that the night tables look at"
-- row = "one reading in one stretch"
-- role = "intermediate"
-- [columns]
-- kind = { class = "category" }
-- event = { class = "identifying", type = "integer" }
-- sensor_no = { class = "sensor", type = "integer" }
-- time = { class = "time" }
-- glucose = { class = "estimate" }

-- Readings find their stretches by the hours of the epoch that these touch, in one pass.
WITH hours AS (
    SELECT
        w.kind,
        w.event,
        w.sensor_no,
        w.opens,
        w.closes,
        CAST(w.opens AS BIGINT) / 3600000000 + k.value AS hour
    FROM generate_series(0, 49) AS k
    CROSS JOIN night_windows AS w
    WHERE CAST(w.opens AS BIGINT) / 3600000000 + k.value <= CAST(w.closes AS BIGINT) / 3600000000
),
seen AS (
    SELECT sensor_no, time, glucose, CAST(time AS BIGINT) / 3600000000 AS hour
    FROM readings
    WHERE status IN ('ok', 'low', 'high')
)
SELECT h.kind, h.event, r.sensor_no, r.time, r.glucose
FROM hours AS h
INNER JOIN seen AS r ON r.sensor_no = h.sensor_no AND r.hour = h.hour
WHERE r.time >= h.opens AND r.time <= h.closes
