-- title = "Sensors inserted, with their ends"
-- row = "one sensor"
-- role = "intermediate"
-- [columns]
-- wearer = { class = "wearer" }
-- sensor = { class = "sensor" }
-- site = { class = "site" }
-- side = { class = "category" }
-- inserted = { class = "time" }
-- model = { class = "identifying" }
-- lot = { class = "identifying" }
-- tape = { class = "category" }
-- rated_days = { class = "estimate" }
-- warm_from = { class = "time" }
-- ended = { class = "time" }
-- cause = { class = "category" }
-- sensor_no = { class = "sensor", type = "integer" }
-- worn_until = { class = "time" }
WITH inserts AS (
    SELECT
        e.wearer,
        e.sensor,
        e.site,
        e.side,
        e.time AS inserted,
        e.model,
        e.lot,
        e.tape,
        m.rated_days,
        plus_hours(e.time, m.warmup_hours) AS warm_from
    FROM wear_events AS e
    INNER JOIN wearer_models AS m ON m.wearer = e.wearer AND m.model IS NOT DISTINCT FROM e.model
    WHERE e.event = 'insert'
),
ends AS (
    SELECT wearer, sensor, time AS ended, cause
    FROM wear_events
    WHERE event = 'end'
)
SELECT
    i.*,
    e.ended,
    e.cause,
    s.sensor_no,
    COALESCE(e.ended, t.cutoff) AS worn_until
FROM inserts AS i
CROSS JOIN settings AS t
LEFT JOIN ends AS e ON e.wearer = i.wearer AND e.sensor = i.sensor
LEFT JOIN sensors AS s ON s.wearer = i.wearer AND s.sensor = i.sensor
ORDER BY i.wearer, i.inserted, i.sensor
