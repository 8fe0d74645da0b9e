-- title = "The last day of sensors that ended early"
-- row = "one reading or fingerstick of the 24 hours before the end"
-- section = "faults"
-- order = 2
-- note = "The 8 sensors that ended last; the list above has all. Marks are fingersticks."
-- chart = { kind = "traces", x = "time", y = "reading", panel = "panel", marked = "in_artefact", points = "fingerstick" }
-- show = 0
-- [columns]
-- site = { label = "Site" }
-- wearer = { label = "Wearer" }
-- sensor = { label = "Sensor" }
-- ended = { label = "Ended" }
-- cause = { label = "Cause" }
-- panel = { label = "No." }
-- time = { label = "Time" }
-- reading = { label = "Reading", unit = "mg/dL", digits = 0 }
-- fingerstick = { label = "Fingerstick", unit = "mg/dL", digits = 0 }
-- in_artefact = { hidden = true }
WITH shown AS (
    SELECT * FROM early_ends WHERE panel <= 8
),
marks AS (
    SELECT panel, time, glucose AS reading, CAST(NULL AS DOUBLE) AS fingerstick
    FROM last_readings
    WHERE status IN ('ok', 'low', 'high')
    UNION ALL
    SELECT e.panel, f.time, CAST(NULL AS DOUBLE) AS reading, f.glucose AS fingerstick
    FROM shown AS e
    INNER JOIN fingersticks AS f ON f.wearer = e.wearer
    WHERE
        f.purpose <> 'control'
        AND f.time >= e.inserted
        AND f.time <= e.ended
        AND minutes_between(f.time, e.ended) <= 1440 * (1 + 1e-9)
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
    0 AS in_artefact
FROM shown AS e
INNER JOIN marks AS m ON m.panel = e.panel
ORDER BY e.panel, m.time, m.fingerstick NULLS FIRST, m.reading
