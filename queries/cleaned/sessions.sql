-- title = "Every sensor worn"
-- row = "one sensor from insertion to its end"
-- section = "quality"
-- note = "Without an end, a sensor is still on where its last reading is less than a day before the cut-off; else it is lost track of."
-- chart = { kind = "spans", x = "inserted", y = "site", lower = "inserted", upper = "seen_until", series = "wearer" }
-- show = 60
-- [columns]
-- wearer = { label = "Wearer" }
-- sensor = { label = "Sensor" }
-- site = { label = "Site" }
-- side = { label = "Side" }
-- inserted = { label = "Inserted" }
-- ended = { label = "Ended" }
-- days = { label = "Worn", unit = "days", digits = 1 }
-- cause = { label = "Cause" }
-- detached = { hidden = true }
-- model = { label = "Model" }
-- lot = { label = "Lot" }
-- tape = { label = "Tape" }
-- state = { label = "State" }
-- rated_days = { label = "Rated", unit = "days", digits = 0, hidden = true }
-- order_of_wear = { hidden = true }
-- seen_until = { hidden = true }
-- worn_until = { hidden = true }
-- warm_from = { hidden = true }
-- last_reading = { hidden = true }
-- sensor_no = { hidden = true }
WITH inserts AS (
    SELECT
        e.wearer,
        e.sensor,
        e.site,
        NULLIF(e.side, '') AS side,
        e.time AS inserted,
        NULLIF(e.model, '') AS model,
        NULLIF(e.lot, '') AS lot,
        NULLIF(e.tape, '') AS tape,
        m.rated_days,
        plus_hours(e.time, m.warmup_hours) AS warm_from
    FROM wear_events AS e
    INNER JOIN wearer_models AS m ON m.wearer = e.wearer AND m.model = e.model
    WHERE e.event = 'insert'
),
ends AS (
    SELECT wearer, sensor, time AS ended, cause
    FROM wear_events
    WHERE event = 'end'
),
known AS (
    SELECT
        i.*,
        e.ended,
        e.cause,
        s.sensor_no,
        COALESCE(e.ended, t.cutoff) AS worn_until,
        t.cutoff
    FROM inserts AS i
    CROSS JOIN settings AS t
    LEFT JOIN ends AS e ON e.wearer = i.wearer AND e.sensor = i.sensor
    LEFT JOIN sensors AS s ON s.wearer = i.wearer AND s.sensor = i.sensor
),
last_readings AS (
    SELECT k.wearer, k.sensor, MAX(r.time) AS last_reading
    FROM known AS k
    INNER JOIN readings AS r ON r.sensor_no = k.sensor_no
    WHERE r.time >= k.inserted AND r.time <= k.worn_until
    GROUP BY k.wearer, k.sensor
),
lives AS (
    SELECT k.*, l.last_reading, COALESCE(k.ended, l.last_reading, k.inserted) AS seen_until
    FROM known AS k
    LEFT JOIN last_readings AS l ON l.wearer = k.wearer AND l.sensor = k.sensor
)
SELECT
    wearer,
    sensor,
    site,
    side,
    inserted,
    ended,
    days_between(inserted, seen_until) AS days,
    cause,
    CASE WHEN cause IN ('fell-off', 'knocked-off', 'lifted') THEN 1 ELSE 0 END AS detached,
    model,
    lot,
    tape,
    CASE
        WHEN ended IS NOT NULL THEN 'ended'
        WHEN days_between(seen_until, cutoff) < 1 THEN 'still on'
        ELSE 'lost track of'
    END AS state,
    rated_days,
    ROW_NUMBER() OVER (PARTITION BY wearer ORDER BY inserted, sensor) AS order_of_wear,
    seen_until,
    worn_until,
    warm_from,
    last_reading,
    sensor_no
FROM lives
ORDER BY wearer, inserted, sensor
