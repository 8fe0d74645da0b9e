-- title = "Fingersticks that found no pair"
-- row = "one site of the sensor worn, and one reason"
-- section = "accuracy"
-- order = 19
-- note = "A fingerstick is counted once for each sensor worn at the time. Low and high: the sensor was outside its measuring range and shows no number. A gap: no usable reading near enough in time. Lost track of: the sensor has no logged end, and its readings had stopped by then. Fingersticks with no sensor on stand last, without a site."
-- [columns]
-- site = { label = "Site", class = "site" }
-- reason = { label = "Reason", class = "category" }
-- fingersticks = { label = "Fingersticks", class = "count" }
-- share = { label = "Of those taken there", unit = "share", digits = 1, class = "share" }
WITH taken AS (
    SELECT site, COUNT(*) AS fingersticks
    FROM checks_worn
    GROUP BY site
),
counts AS (
    SELECT site, reason, COUNT(*) AS fingersticks
    FROM unpaired_checks
    GROUP BY site, reason
)
SELECT
    c.site,
    c.reason,
    c.fingersticks,
    CAST(c.fingersticks AS DOUBLE) / t.fingersticks AS share
FROM counts AS c
LEFT JOIN taken AS t ON t.site = c.site
LEFT JOIN sites AS s ON s.site = c.site
ORDER BY s.position NULLS LAST, c.reason
