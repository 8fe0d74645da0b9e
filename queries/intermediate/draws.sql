-- title = "Draws by lot, with the sensors that were worn as drawn"
-- row = "one draw"
-- role = "intermediate"
-- [columns]
-- drawn_at = { class = "time" }
-- wearer = { class = "wearer" }
-- number = { class = "count" }
-- site = { class = "site" }
-- side = { class = "category" }
-- block = { class = "count" }
-- model = { class = "identifying" }
-- allowed = { class = "category" }
-- probability = { class = "share" }
-- chances = { class = "category" }
-- sensor = { class = "sensor" }

-- A draw belongs to the next insertion of that wearer at that site and side within 30 days, up to the end of the last of them.
WITH later AS (
    SELECT
        d.wearer,
        d.number,
        i.sensor,
        ROW_NUMBER() OVER (PARTITION BY d.wearer, d.number ORDER BY i.inserted, i.sensor) AS place
    FROM plan_log AS d
    CROSS JOIN settings AS t
    INNER JOIN insertions AS i ON i.wearer = d.wearer AND i.site = d.site AND i.side = d.side
    WHERE
        i.inserted >= d.drawn_at
        AND i.inserted < plus_hours(
            d.drawn_at,
            744.0 - clock_hour(plus_hours(d.drawn_at, 720.0), t.timezone) - date_part('minute', d.drawn_at) / 60.0
        )
)
SELECT
    d.*,
    w.sensor
FROM plan_log AS d
LEFT JOIN (SELECT * FROM later WHERE place = 1) AS w ON w.wearer = d.wearer AND w.number = d.number
ORDER BY d.wearer, d.number
