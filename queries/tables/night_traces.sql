-- title = "The most telling nights"
-- row = "one reading or fingerstick of one night"
-- section = "nights"
-- order = 3
-- note = "At most three nights a site: first those with an artefact that a fingerstick confirmed, then by how far the readings fell. They are the clearest ones, not typical ones."
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
    r.evidence
FROM night_trace_rows AS r
INNER JOIN sites AS s ON s.site = r.site
WHERE r.kind = 'night'
ORDER BY s.position, r.panel, r.time, r.reading, r.fingerstick
