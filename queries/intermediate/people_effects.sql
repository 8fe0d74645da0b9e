-- title = "Each person at each site, beside all people there"
-- row = "one wearer, site and measure"
-- role = "intermediate"
-- [columns]
-- site = { class = "site" }
-- position = { class = "category", type = "integer" }
-- measure = { class = "category" }
-- measure_order = { class = "category", type = "integer" }
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
WITH lists AS (
    SELECT
        l.site,
        'stays-on' AS measure,
        people_shares(p.person_no, l.day, l.ending, t.rated_days) AS list
    FROM lives AS l
    INNER JOIN numbered_people AS p ON p.wearer = l.wearer
    CROSS JOIN settings AS t
    GROUP BY l.site
    UNION ALL
    SELECT
        e.site,
        CASE e.measure WHEN 'bias' THEN 'reads-high-or-low' ELSE 'reads-true' END AS measure,
        people_means(p.person_no, CASE e.measure WHEN 'bias' THEN e.mean ELSE e.percent_mean END) AS list
    FROM sensor_errors AS e
    INNER JOIN numbered_people AS p ON p.wearer = e.wearer
    GROUP BY e.site, e.measure
    UNION ALL
    SELECT n.site, 'quiet-at-night' AS measure, people_rates(p.person_no, n.artefacts, n.nights) AS list
    FROM sensor_artefacts AS n
    INNER JOIN numbered_people AS p ON p.wearer = n.wearer
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
INNER JOIN numbered_people AS p ON p.person_no = CAST(get_field(e.effect, 'person') AS BIGINT)
INNER JOIN sites AS s ON s.site = e.site
ORDER BY s.position, measure_order, p.wearer
