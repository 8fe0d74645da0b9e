-- title = "Readings around each fingerstick"
-- row = "one reading of a worn sensor within 45 minutes, or the pairing limit where that is longer, of one fingerstick"
-- role = "view"
-- [columns]
-- fingerstick_no = { class = "identifying", type = "integer" }
-- sensor_no = { class = "sensor", type = "integer" }
-- time = { class = "time" }
-- glucose = { class = "estimate" }
-- status = { class = "category" }
-- minutes = { class = "estimate" }
-- pairing_minutes = { class = "estimate" }
-- warm = { class = "category", type = "boolean" }

-- A join on time buckets finds the readings in one pass: with a bucket four times as wide as that, what is around a
-- fingerstick lies in one or two. The left side of a join is the one held in memory: it is the smaller one here and in
-- the other intermediate queries.
WITH width AS (
    SELECT 4 * CAST(GREATEST(45.0, MAX(pairing_minutes)) * 60000000 AS BIGINT) AS micros
    FROM wearer_limits
),
limited AS (
    SELECT
        c.*,
        s.inserted,
        s.worn_until,
        s.warm_from,
        l.pairing_minutes,
        CAST(GREATEST(45.0, l.pairing_minutes) * 60000000 AS BIGINT) AS own_micros
    FROM sessions AS s
    INNER JOIN checks_worn AS c ON c.sensor_no = s.sensor_no
    INNER JOIN wearer_limits AS l ON l.wearer = c.wearer
),
wanted AS (
    SELECT
        c.*,
        (CAST(c.fingerstick_time AS BIGINT) - c.own_micros) / w.micros + k.step AS bucket
    FROM limited AS c
    CROSS JOIN width AS w
    CROSS JOIN (VALUES (0), (1)) AS k (step)
    WHERE (CAST(c.fingerstick_time AS BIGINT) - c.own_micros) / w.micros + k.step
        <= (CAST(c.fingerstick_time AS BIGINT) + c.own_micros) / w.micros
),
bucketed AS (
    SELECT
        r.sensor_no,
        r.time,
        r.glucose,
        r.status,
        CAST(r.time AS BIGINT) / w.micros AS bucket
    FROM readings AS r
    CROSS JOIN width AS w
    WHERE r.status IN ('ok', 'low', 'high')
)
SELECT
    c.fingerstick_no,
    c.sensor_no,
    r.time,
    r.glucose,
    r.status,
    minutes_between(c.fingerstick_time, r.time) AS minutes,
    c.pairing_minutes,
    r.time >= c.warm_from AS warm
FROM wanted AS c
INNER JOIN bucketed AS r ON r.sensor_no = c.sensor_no AND r.bucket = c.bucket
WHERE
    r.time >= c.inserted
    AND r.time <= c.worn_until
    AND ABS(CAST(r.time AS BIGINT) - CAST(c.fingerstick_time AS BIGINT)) <= c.own_micros
