-- title = "Readings and fingersticks of the nights and artefacts that are drawn"
-- row = "one reading or fingerstick in one picture"
-- role = "intermediate"
-- [columns]
-- kind = { class = "category" }
-- site = { class = "site" }
-- wearer = { class = "wearer" }
-- sensor = { class = "sensor" }
-- night = { class = "time", type = "date" }
-- start = { class = "time" }
-- event = { class = "identifying", type = "integer" }
-- panel = { class = "category", type = "integer" }
-- evidence = { class = "category" }
-- judged = { class = "category" }
-- time = { class = "time" }
-- reading = { class = "estimate" }
-- fingerstick = { class = "estimate" }
-- in_artefact = { class = "category", type = "integer" }
WITH points AS (
    SELECT w.*, r.time, r.glucose AS reading, CAST(NULL AS DOUBLE) AS fingerstick
    FROM night_windows AS w
    INNER JOIN night_window_readings AS r ON r.kind = w.kind AND r.event = w.event
    WHERE w.kind <> 'run'
    UNION ALL
    SELECT w.*, f.time, CAST(NULL AS DOUBLE) AS reading, f.glucose AS fingerstick
    FROM night_windows AS w
    INNER JOIN fingersticks AS f ON f.wearer = w.wearer
    WHERE w.kind <> 'run' AND f.purpose <> 'control' AND f.time >= w.opens AND f.time <= w.closes
),
runs AS (
    SELECT DISTINCT sensor_no, start, "end"
    FROM night_artefacts
)
SELECT
    p.kind,
    p.site,
    p.wearer,
    p.sensor,
    p.night,
    p.start,
    p.event,
    p.panel,
    p.evidence,
    p.judged,
    p.time,
    p.reading,
    p.fingerstick,
    MAX(CASE WHEN p.time >= a.start AND p.time <= a."end" THEN 1 ELSE 0 END) AS in_artefact
FROM points AS p
LEFT JOIN runs AS a ON a.sensor_no = p.sensor_no
GROUP BY
    p.kind, p.site, p.wearer, p.sensor, p.night, p.start, p.event, p.panel, p.evidence, p.judged, p.time, p.reading, p.fingerstick
