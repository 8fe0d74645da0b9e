-- title = "How sensors ended, by site"
-- row = "one site and cause"
-- section = "wear"
-- order = 5
-- chart = { kind = "bars", x = "cause", y = "sessions", series = "site" }
-- [columns]
-- site = { label = "Site", class = "site" }
-- cause = { label = "Ending", class = "category" }
-- sessions = { label = "Sensors", class = "count" }
SELECT x.site, x.cause, x.sessions
FROM (
    SELECT site, COALESCE(cause, state) AS cause, COUNT(*) AS sessions
    FROM sessions
    GROUP BY site, COALESCE(cause, state)
) AS x
INNER JOIN sites AS s ON s.site = x.site
ORDER BY s.position, x.cause
