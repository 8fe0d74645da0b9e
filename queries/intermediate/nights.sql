-- title = "Nights"
-- row = "one night of one wearer"
-- role = "intermediate"
-- [columns]
-- wearer = { class = "wearer" }
-- night = { class = "time", type = "date" }
-- night_start = { class = "time" }
-- night_end = { class = "time" }
-- recorded = { class = "category", type = "boolean" }
-- posture = { class = "category" }

-- A spell in bed is a `bed` whose next `bed` or `rise` is a `rise` within 24 hours.
WITH moves AS (
    SELECT
        wearer,
        event,
        time,
        posture,
        LEAD(event) OVER (PARTITION BY wearer ORDER BY time, event DESC) AS next_event,
        LEAD(time) OVER (PARTITION BY wearer ORDER BY time, event DESC) AS next_time
    FROM wear_events
    WHERE event IN ('bed', 'rise')
),
spells AS (
    SELECT wearer, time AS bed, next_time AS rise, posture
    FROM moves
    WHERE event = 'bed' AND next_event = 'rise' AND minutes_between(time, next_time) <= 1440
),
wearers AS (
    SELECT DISTINCT wearer FROM sessions
)
SELECT
    w.wearer,
    n.night,
    COALESCE(MIN(s.bed), n.night_start) AS night_start,
    COALESCE(MAX(s.rise), n.night_end) AS night_end,
    COUNT(s.bed) > 0 AS recorded,
    CASE WHEN MIN(s.posture) = MAX(s.posture) THEN MIN(s.posture) WHEN COUNT(s.posture) > 0 THEN 'mixed' END AS posture
FROM wearers AS w
INNER JOIN clock_nights AS n ON n.wearer = w.wearer
LEFT JOIN spells AS s ON s.wearer = w.wearer AND s.bed < n.night_end AND s.rise > n.night_start
GROUP BY w.wearer, n.night, n.night_start, n.night_end
ORDER BY w.wearer, n.night
