-- title = "Every sensor worn"
-- row = "one sensor from insertion to its end"
-- section = "quality"
-- order = 2
-- note = "Without an end, a sensor is still on where its last reading is less than a day before the cut-off; else it is lost track of. Drawn by lot: plan-log.csv had the site and side before the sensor went in."
-- chart = { kind = "spans", x = "inserted", y = "site", lower = "inserted", upper = "seen_until", series = "wearer" }
-- show = 60
-- [columns]
-- wearer = { label = "Wearer", class = "wearer" }
-- sensor = { label = "Sensor", class = "sensor" }
-- site = { label = "Site", class = "site" }
-- side = { label = "Side", class = "category" }
-- inserted = { label = "Inserted", class = "time" }
-- ended = { label = "Ended", class = "time" }
-- days = { label = "Worn", unit = "days", digits = 1, class = "estimate" }
-- cause = { label = "Cause", class = "category" }
-- detached = { hidden = true, class = "category", type = "integer" }
-- model = { label = "Model", class = "identifying" }
-- lot = { label = "Lot", class = "identifying" }
-- tape = { label = "Tape", class = "category" }
-- state = { label = "State", class = "category" }
-- drawn = { label = "Site was", class = "category" }
-- rated_days = { label = "Rated", unit = "days", digits = 0, hidden = true, class = "estimate" }
-- order_of_wear = { hidden = true, class = "category", type = "integer" }
-- seen_until = { hidden = true, class = "time" }
-- worn_until = { hidden = true, class = "time" }
-- warm_from = { hidden = true, class = "time" }
-- last_reading = { hidden = true, class = "time" }
-- sensor_no = { hidden = true, class = "sensor", type = "integer" }
WITH known AS (
    SELECT
        k.*,
        t.cutoff,
        r.last_reading,
        COALESCE(k.ended, r.last_reading, k.inserted) AS seen_until,
        d.number AS draw
    FROM insertions AS k
    CROSS JOIN settings AS t
    LEFT JOIN sensor_readings AS r ON r.sensor_no = k.sensor_no
    LEFT JOIN (
        SELECT wearer, sensor, MIN(number) AS number
        FROM draws
        WHERE sensor IS NOT NULL
        GROUP BY wearer, sensor
    ) AS d ON d.wearer = k.wearer AND d.sensor = k.sensor
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
    CASE WHEN draw IS NULL THEN 'chosen' ELSE 'drawn by lot' END AS drawn,
    rated_days,
    ROW_NUMBER() OVER (PARTITION BY wearer ORDER BY inserted, sensor) AS order_of_wear,
    seen_until,
    worn_until,
    warm_from,
    last_reading,
    sensor_no
FROM known
ORDER BY wearer, inserted, sensor
