-- title = "Each person at each site, beside all people there"
-- row = "one wearer, site and measure"
-- role = "intermediate"
-- [columns]
-- site = { class = "site" }
-- position = { class = "count" }
-- measure = { class = "category" }
-- measure_order = { class = "count" }
-- wearer = { class = "wearer" }
-- estimate = { class = "estimate" }
-- lower = { class = "lower" }
-- upper = { class = "upper" }
-- shrunken = { class = "estimate" }
-- shrunken_lower = { class = "lower" }
-- shrunken_upper = { class = "upper" }
-- mean = { class = "estimate" }
-- spread = { class = "estimate" }
-- spread_lower = { class = "lower" }
-- spread_upper = { class = "upper" }
-- p = { class = "p" }
-- new_lower = { class = "lower" }
-- new_upper = { class = "upper" }

-- The wearer's own figures and, the same in each row of a site and measure, those over wearers; in the unit of the measure: share that came off by the rated day,
-- percent of the fingerstick, mg/dL, artefacts per 100 sensor-nights. Measures of pairs rest on one value a sensor.
WITH people AS (
    SELECT wearer, ROW_NUMBER() OVER (ORDER BY wearer) AS person_no
    FROM (SELECT DISTINCT wearer FROM sessions) AS w
),
sensor_means AS (
    SELECT
        site,
        wearer,
        sensor_no,
        100 * AVG(ABS(relative_difference)) AS absolute_percent,
        AVG(difference) AS difference
    FROM compared_pairs
    GROUP BY site, wearer, sensor_no
),
lists AS (
    SELECT
        l.site,
        'stays-on' AS measure,
        people_shares(p.person_no, l.day, l.ending, t.rated_days) AS list
    FROM lives AS l
    INNER JOIN people AS p ON p.wearer = l.wearer
    CROSS JOIN settings AS t
    GROUP BY l.site
    UNION ALL
    SELECT m.site, 'reads-true' AS measure, people_means(p.person_no, m.absolute_percent) AS list
    FROM sensor_means AS m
    INNER JOIN people AS p ON p.wearer = m.wearer
    GROUP BY m.site
    UNION ALL
    SELECT m.site, 'reads-high-or-low' AS measure, people_means(p.person_no, m.difference) AS list
    FROM sensor_means AS m
    INNER JOIN people AS p ON p.wearer = m.wearer
    GROUP BY m.site
    UNION ALL
    SELECT n.site, 'quiet-at-night' AS measure, people_rates(p.person_no, n.artefacts, n.nights) AS list
    FROM sensor_artefacts AS n
    INNER JOIN people AS p ON p.wearer = n.wearer
    GROUP BY n.site
),
effects AS (
    SELECT site, measure, UNNEST(list) AS effect
    FROM lists
)
SELECT
    e.site,
    s.position,
    e.measure,
    CASE e.measure
        WHEN 'stays-on' THEN 1
        WHEN 'reads-true' THEN 2
        WHEN 'reads-high-or-low' THEN 3
        ELSE 4
    END AS measure_order,
    p.wearer,
    get_field(e.effect, 'estimate') AS estimate,
    get_field(e.effect, 'lower') AS lower,
    get_field(e.effect, 'upper') AS upper,
    get_field(e.effect, 'shrunken') AS shrunken,
    get_field(e.effect, 'shrunken_lower') AS shrunken_lower,
    get_field(e.effect, 'shrunken_upper') AS shrunken_upper,
    get_field(e.effect, 'mean') AS mean,
    get_field(e.effect, 'spread') AS spread,
    get_field(e.effect, 'spread_lower') AS spread_lower,
    get_field(e.effect, 'spread_upper') AS spread_upper,
    get_field(e.effect, 'p') AS p,
    get_field(e.effect, 'new_lower') AS new_lower,
    get_field(e.effect, 'new_upper') AS new_upper
FROM effects AS e
INNER JOIN people AS p ON p.person_no = CAST(get_field(e.effect, 'person') AS BIGINT)
INNER JOIN sites AS s ON s.site = e.site
ORDER BY s.position, measure_order, p.wearer
