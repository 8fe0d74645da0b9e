-- title = "What happened at each spot, for a plan"
SELECT e.wearer, 'skin' AS kind, s.site, s.side, e.time, e.grade
FROM wear_events AS e
INNER JOIN sessions AS s ON s.wearer = e.wearer AND s.sensor = e.sensor
WHERE e.event = 'skin' AND e.grade IS NOT NULL
UNION ALL
SELECT wearer, 'injection' AS kind, site, side, time, NULL AS grade
FROM wear_events
WHERE event = 'injection' AND site IS NOT NULL
ORDER BY wearer, time, kind, site, side, grade
