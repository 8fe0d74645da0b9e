-- title = "Night artefacts of each sensor"
-- row = "one sensor with counted nights"
-- role = "intermediate"
-- [columns]
-- wearer = { class = "wearer" }
-- sensor = { class = "sensor" }
-- site = { class = "site" }
-- position = { class = "category", type = "integer" }
-- sensor_no = { class = "sensor", type = "integer" }
-- nights = { class = "count" }
-- artefacts = { class = "count" }
-- by_night = { class = "category" }
-- block = { class = "category" }
-- inserted = { class = "time" }
-- over_from = { class = "time" }

-- `by_night`: a digit for each counted night, in order, the artefacts in it that no fingerstick refuted (9 at most).
WITH found AS (
    SELECT sensor_no, night, COUNT(*) AS artefacts
    FROM night_artefacts
    WHERE counted = 1 AND evidence <> 'refuted'
    GROUP BY sensor_no, night
),
counted_nights AS (
    SELECT n.sensor_no, n.night, COALESCE(f.artefacts, 0) AS artefacts
    FROM compared_nights AS n
    LEFT JOIN found AS f ON f.sensor_no = n.sensor_no AND f.night = n.night
    WHERE n.counted = 1
),
totals AS (
    SELECT
        sensor_no,
        COUNT(*) AS nights,
        SUM(artefacts) AS artefacts,
        STRING_AGG(CAST(LEAST(artefacts, 9) AS VARCHAR), '' ORDER BY night) AS by_night
    FROM counted_nights
    GROUP BY sensor_no
)
SELECT
    s.wearer,
    s.sensor,
    s.site,
    x.position,
    s.sensor_no,
    t.nights,
    t.artefacts,
    t.by_night,
    s.wearer || ' / ' || COALESCE(s.model, '') AS block,
    s.inserted,
    COALESCE(s.ended, CASE WHEN s.state = 'lost track of' THEN plus_hours(s.seen_until, 24.0) END) AS over_from
FROM totals AS t
INNER JOIN sessions AS s ON s.sensor_no = t.sensor_no
INNER JOIN sites AS x ON x.site = s.site
ORDER BY s.wearer, s.inserted, s.sensor
