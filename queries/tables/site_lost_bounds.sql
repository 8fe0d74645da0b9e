-- title = "What sensors lost track of could change"
-- row = "one site"
-- section = "wear"
-- order = 6
-- note = "The share that came off by the rated day, if none or all of the sensors lost track of came off when last seen. Not a confidence interval: it says what not knowing costs."
-- [columns]
-- site = { label = "Site", class = "site" }
-- sessions = { label = "Sensors", class = "count" }
-- lost = { label = "lost track of", class = "count" }
-- lower = { label = "Came off if none of them did", unit = "share", digits = 0, class = "lower" }
-- upper = { label = "if all of them did", unit = "share", digits = 0, class = "upper" }
WITH bounds AS (
    SELECT
        l.site,
        COUNT(*) AS sessions,
        SUM(l.lost) AS lost,
        lost_bounds(l.day, l.ending, l.lost, t.rated_days) AS bound
    FROM lives AS l
    CROSS JOIN settings AS t
    GROUP BY l.site
)
SELECT
    b.site,
    b.sessions,
    b.lost,
    get_field(b.bound, 'lower') AS lower,
    get_field(b.bound, 'upper') AS upper
FROM bounds AS b
INNER JOIN sites AS s ON s.site = b.site
ORDER BY s.position
