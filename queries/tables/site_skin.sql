-- title = "Skin, by site"
-- row = "one site"
-- section = "skin"
-- order = 1
-- note = "Grades as logged: 0 none, 1 mild redness, 2 redness and itch, 3 swelling or blisters, 4 broken skin or infection. Grade 3 or 4: show it to a clinician."
-- [columns]
-- site = { label = "Site", class = "site" }
-- checks = { label = "Times graded", class = "count" }
-- grade_0 = { label = "Grade 0", class = "count" }
-- grade_1 = { label = "1", class = "count" }
-- grade_2 = { label = "2", class = "count" }
-- grade_3 = { label = "3", class = "count" }
-- grade_4 = { label = "4", class = "count" }
-- reactions = { label = "Sensors taken off for a reaction", class = "count" }
WITH grades AS (
    SELECT s.site, e.grade
    FROM wear_events AS e
    INNER JOIN sessions AS s ON s.wearer = e.wearer AND s.sensor = e.sensor
    WHERE e.event = 'skin' AND e.grade IS NOT NULL
),
counts AS (
    SELECT
        site,
        COUNT(*) AS checks,
        SUM(CASE WHEN grade = 0 THEN 1 ELSE 0 END) AS grade_0,
        SUM(CASE WHEN grade = 1 THEN 1 ELSE 0 END) AS grade_1,
        SUM(CASE WHEN grade = 2 THEN 1 ELSE 0 END) AS grade_2,
        SUM(CASE WHEN grade = 3 THEN 1 ELSE 0 END) AS grade_3,
        SUM(CASE WHEN grade = 4 THEN 1 ELSE 0 END) AS grade_4
    FROM grades
    GROUP BY site
),
reactions AS (
    SELECT site, SUM(CASE WHEN cause = 'reaction' THEN 1 ELSE 0 END) AS reactions
    FROM sessions
    GROUP BY site
)
SELECT
    c.site,
    c.checks,
    c.grade_0,
    c.grade_1,
    c.grade_2,
    c.grade_3,
    c.grade_4,
    r.reactions
FROM counts AS c
INNER JOIN reactions AS r ON r.site = c.site
INNER JOIN sites AS s ON s.site = c.site
ORDER BY s.position
