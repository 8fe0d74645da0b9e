-- title = "Every sensor worn"
-- row = "one sensor from insertion to its end"
-- section = "quality"
-- order = 2
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
WITH lives AS (
    SELECT
        k.*,
        t.cutoff,
        r.last_reading,
        COALESCE(k.ended, r.last_reading, k.inserted) AS seen_until
    FROM insertions AS k
    CROSS JOIN settings AS t
    LEFT JOIN sensor_readings AS r ON r.sensor_no = k.sensor_no
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
