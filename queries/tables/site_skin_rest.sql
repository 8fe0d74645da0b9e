-- title = "Skin against rest of the spot"
-- row = "one site, or all of them, and days of rest before the spot was used again"
-- section = "skin"
-- order = 2
-- note = "A spot is one wearer's site and side; its rest ends with the next insertion there. A sensor counts once, with its worst grade. Itch or worse: grade 2 and above. Exact intervals, sensors as independent. People rest a spot longer after trouble, which can make rest look useless."
-- show = 60
-- [columns]
-- site = { label = "Site", class = "site" }
-- rest = { label = "Days of rest", class = "category" }
-- sensors = { label = "Sensors", class = "count" }
-- graded = { label = "of these looked at", class = "count" }
-- marked = { label = "Grade 1 or more", class = "count" }
-- itching = { label = "Itch or worse", class = "count" }
-- itching_share = { label = "Share with itch or worse", unit = "share", digits = 0, class = "share" }
-- itching_share_lower = { unit = "share", digits = 0, class = "lower" }
-- itching_share_upper = { unit = "share", digits = 0, class = "upper" }
-- reactions = { label = "Taken off for a reaction", class = "count" }
WITH rested AS (
    SELECT
        wearer,
        sensor,
        site,
        cause,
        inserted,
        MAX(seen_until) OVER (
            PARTITION BY wearer, site, COALESCE(side, '')
            ORDER BY inserted, sensor
            ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
        ) AS free_from
    FROM sessions
),
classes AS (
    SELECT
        *,
        CASE
            WHEN free_from IS NULL THEN 5
            WHEN below(days_between(free_from, inserted), 7) THEN 1
            WHEN below(days_between(free_from, inserted), 14) THEN 2
            WHEN below(days_between(free_from, inserted), 28) THEN 3
            ELSE 4
        END AS place
    FROM rested
),
worst AS (
    SELECT wearer, sensor, MAX(grade) AS grade
    FROM wear_events
    WHERE event = 'skin' AND grade IS NOT NULL
    GROUP BY wearer, sensor
),
worst_grades AS (
    SELECT c.site, c.place, c.cause, w.grade
    FROM classes AS c
    LEFT JOIN worst AS w ON w.wearer = c.wearer AND w.sensor = c.sensor
),
levels AS (
    SELECT * FROM worst_grades
    UNION ALL
    SELECT 'every site' AS site, place, cause, grade FROM worst_grades
),
counts AS (
    SELECT
        site,
        place,
        COUNT(*) AS sensors,
        COUNT(grade) AS graded,
        SUM(CASE WHEN grade >= 1 THEN 1 ELSE 0 END) AS marked,
        SUM(CASE WHEN grade >= 2 THEN 1 ELSE 0 END) AS itching,
        SUM(CASE WHEN cause = 'reaction' THEN 1 ELSE 0 END) AS reactions
    FROM levels
    GROUP BY site, place
)
SELECT
    c.site,
    CASE c.place
        WHEN 1 THEN '0 to 6'
        WHEN 2 THEN '7 to 13'
        WHEN 3 THEN '14 to 27'
        WHEN 4 THEN '28 or more'
        ELSE 'first use'
    END AS rest,
    c.sensors,
    c.graded,
    c.marked,
    c.itching,
    CAST(c.itching AS DOUBLE) / NULLIF(c.graded, 0) AS itching_share,
    exact_share_lower(c.itching, c.graded) AS itching_share_lower,
    exact_share_upper(c.itching, c.graded) AS itching_share_upper,
    c.reactions
FROM counts AS c
LEFT JOIN sites AS s ON s.site = c.site
ORDER BY s.position NULLS LAST, c.place
