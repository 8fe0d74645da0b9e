-- title = "The last day of sensors that failed or never started"
-- row = "one reading or fingerstick of the 24 hours before the end"
-- section = "faults"
-- order = 2
-- note = "Drawn on the fault sheets."
-- show = 0
-- [columns]
-- site = { label = "Site", class = "site" }
-- wearer = { label = "Wearer", class = "wearer" }
-- sensor = { label = "Sensor", class = "sensor" }
-- ended = { label = "Ended", class = "time" }
-- cause = { label = "Cause", class = "category" }
-- panel = { label = "No.", class = "category", type = "integer" }
-- time = { label = "Time", class = "time" }
-- reading = { label = "Reading", unit = "mg/dL", digits = 0, class = "estimate" }
-- fingerstick = { label = "Fingerstick", unit = "mg/dL", digits = 0, class = "estimate" }
-- error = { label = "Marked as an error", class = "category", type = "integer" }
WITH failed AS (
    SELECT * FROM early_ends WHERE cause IN ('sensor-fault', 'not-started')
),
marks AS (
    SELECT
        panel,
        time,
        CASE WHEN status <> 'error' THEN glucose END AS reading,
        CAST(NULL AS DOUBLE) AS fingerstick,
        CASE WHEN status = 'error' THEN 1 ELSE 0 END AS error
    FROM last_readings
    WHERE status IN ('ok', 'low', 'high', 'error')
    UNION ALL
    SELECT e.panel, f.time, CAST(NULL AS DOUBLE) AS reading, f.glucose AS fingerstick, 0 AS error
    FROM failed AS e
    INNER JOIN fingersticks AS f ON f.wearer = e.wearer
    WHERE
        f.purpose <> 'control'
        AND f.time >= e.inserted
        AND f.time <= e.ended
        AND at_most(minutes_between(f.time, e.ended), 1440)
)
SELECT
    e.site,
    e.wearer,
    e.sensor,
    e.ended,
    e.cause,
    e.panel,
    m.time,
    m.reading,
    m.fingerstick,
    m.error
FROM failed AS e
INNER JOIN marks AS m ON m.panel = e.panel
ORDER BY e.panel, m.time, m.fingerstick NULLS FIRST, m.reading
