-- title = "Readings below 70 mg/dL within night artefacts"
-- row = "one site and state of evidence, counted nights only"
-- role = "intermediate"
-- [columns]
-- site = { class = "site" }
-- evidence = { class = "category" }
-- low_readings = { class = "count" }
-- low_minutes = { class = "estimate" }
SELECT w.site, w.evidence, COUNT(*) AS low_readings, SUM(p.spacing_minutes) AS low_minutes
FROM night_windows AS w
INNER JOIN night_window_readings AS r ON r.kind = w.kind AND r.event = w.event
INNER JOIN sensor_spacing AS p ON p.sensor_no = w.sensor_no
WHERE w.kind = 'run' AND below(r.glucose, 70)
GROUP BY w.site, w.evidence
ORDER BY w.site, w.evidence
