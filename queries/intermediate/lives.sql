-- title = "How long each sensor stayed on, up to its rated wear"
-- row = "one sensor"
-- role = "intermediate"
-- [columns]
-- wearer = { class = "wearer" }
-- sensor = { class = "sensor" }
-- site = { class = "site" }
-- day = { class = "estimate" }
-- event = { class = "category", type = "integer" }
-- ending = { class = "category", type = "integer" }
-- cause = { class = "category" }
-- any_ending = { class = "category", type = "integer" }
-- lost = { class = "count" }
-- block = { class = "category" }
-- tape = { class = "category" }
-- side = { class = "category" }
-- model = { class = "identifying" }
-- order_of_wear = { class = "category", type = "integer" }
-- inserted = { class = "time" }
-- seen_until = { class = "time" }
-- known_until = { class = "time" }
-- rated_days = { class = "estimate" }

-- Endings past the rated wear are none. `ending`: 1 came off, 2 ended in another way that competes, 0 censored.
SELECT
    wearer,
    sensor,
    site,
    LEAST(days, rated_days) AS day,
    CASE WHEN detached = 1 AND at_most(days, rated_days) THEN 1 ELSE 0 END AS event,
    CASE
        WHEN above(days, rated_days) THEN 0
        WHEN detached = 1 THEN 1
        WHEN cause IN ('sensor-fault', 'reaction', 'not-started') THEN 2
        ELSE 0
    END AS ending,
    CASE WHEN above(days, rated_days) THEN 'outlasted' ELSE COALESCE(cause, 'none') END AS cause,
    CASE WHEN ended IS NOT NULL AND at_most(days, rated_days) THEN 1 ELSE 0 END AS any_ending,
    CASE WHEN state = 'lost track of' AND below(days, rated_days) THEN 1 ELSE 0 END AS lost,
    wearer || ' / ' || COALESCE(model, '') AS block,
    COALESCE(tape, 'not logged') AS tape,
    COALESCE(side, 'not logged') AS side,
    COALESCE(model, 'not logged') AS model,
    order_of_wear,
    inserted,
    seen_until,
    CASE WHEN state = 'still on' THEN t.cutoff ELSE seen_until END AS known_until,
    rated_days
FROM sessions
CROSS JOIN (SELECT cutoff FROM settings) AS t
ORDER BY wearer, inserted, sensor
