-- title = "This month's night artefacts, to judge by eye"
-- row = "one reading or fingerstick around one artefact"
-- section = "nights"
-- order = 11
-- note = "From 90 minutes before to 90 minutes after each, at most sixty, those that fell furthest. To have a verdict counted, write wearer, sensor, start and verdict (artefact, true-low or unsure) into judgements.csv in the study folder; the numbers are the rows of night_artefacts.csv. A shape alone cannot tell a false low from a true one."
-- chart = { kind = "traces", x = "time", y = "reading", panel = "panel", marked = "in_artefact", points = "fingerstick" }
-- show = 0
-- [columns]
-- site = { label = "Site", class = "site" }
-- wearer = { label = "Wearer", class = "wearer" }
-- sensor = { label = "Sensor", class = "sensor" }
-- night = { label = "Night of", class = "time", type = "date" }
-- panel = { label = "Picture", class = "category", type = "integer" }
-- time = { label = "Time", class = "time" }
-- reading = { label = "Reading", unit = "mg/dL", digits = 0, class = "estimate" }
-- fingerstick = { label = "Fingerstick", unit = "mg/dL", digits = 0, class = "estimate" }
-- in_artefact = { label = "In an artefact", class = "category", type = "integer" }
-- evidence = { label = "Evidence", class = "category" }
-- event = { label = "Artefact", class = "identifying", type = "integer" }
-- start = { label = "Start", class = "time" }
-- judged = { label = "Judged", class = "category" }
SELECT
    r.site,
    r.wearer,
    r.sensor,
    r.night,
    r.panel,
    r.time,
    r.reading,
    r.fingerstick,
    r.in_artefact,
    r.evidence,
    r.event,
    r.start,
    r.judged
FROM night_trace_rows AS r
INNER JOIN sites AS s ON s.site = r.site
WHERE r.kind = 'event'
ORDER BY s.position, r.panel, r.time, r.reading, r.fingerstick
