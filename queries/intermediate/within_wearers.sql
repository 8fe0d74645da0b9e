-- title = "Each person's own difference between two sites, beside all people who wore both"
-- row = "one measure, pair of sites and wearer"
-- role = "intermediate"
-- [columns]
-- site = { class = "site" }
-- against = { class = "site" }
-- position = { class = "category", type = "integer" }
-- against_position = { class = "category", type = "integer" }
-- measure = { class = "category" }
-- measure_order = { class = "category", type = "integer" }
-- wearer = { class = "wearer" }
-- difference = { class = "estimate" }
-- lower = { class = "lower" }
-- upper = { class = "upper" }
-- weight = { class = "share" }
-- without = { class = "estimate" }
-- without_lower = { class = "lower" }
-- without_upper = { class = "upper" }
-- mean = { class = "estimate" }
-- mean_lower = { class = "lower" }
-- mean_upper = { class = "upper" }
-- p = { class = "p" }
-- spread = { class = "estimate" }
-- spread_lower = { class = "lower" }
-- spread_upper = { class = "upper" }
-- p_alike = { class = "p" }
-- new_lower = { class = "lower" }
-- new_upper = { class = "upper" }

-- The site less the one it is set against, in the unit of the measure: share that came off by the rated day, points, mg/dL,
-- artefacts per 100 sensor-nights. Measures of pairs rest on one value a sensor.
WITH lists AS (
    SELECT
        s.site,
        s.against,
        'stays-on' AS measure,
        within_people_shares(
            p.person_no, CASE WHEN l.site = s.site THEN 1 ELSE 0 END, l.day, l.ending, t.rated_days
        ) AS list
    FROM site_pairs AS s
    INNER JOIN lives AS l ON l.site = s.site OR l.site = s.against
    INNER JOIN numbered_people AS p ON p.wearer = l.wearer
    CROSS JOIN settings AS t
    GROUP BY s.site, s.against
    UNION ALL
    SELECT
        s.site,
        s.against,
        CASE e.measure WHEN 'bias' THEN 'reads-high-or-low' ELSE 'reads-true' END AS measure,
        within_people_means(
            p.person_no,
            CASE WHEN e.site = s.site THEN 1 ELSE 0 END,
            CASE e.measure WHEN 'bias' THEN e.mean ELSE e.percent_mean END
        ) AS list
    FROM site_pairs AS s
    INNER JOIN sensor_errors AS e ON e.site = s.site OR e.site = s.against
    INNER JOIN numbered_people AS p ON p.wearer = e.wearer
    GROUP BY s.site, s.against, e.measure
    UNION ALL
    SELECT
        s.site,
        s.against,
        'quiet-at-night' AS measure,
        within_people_rates(p.person_no, CASE WHEN n.site = s.site THEN 1 ELSE 0 END, n.artefacts, n.nights) AS list
    FROM site_pairs AS s
    INNER JOIN sensor_artefacts AS n ON n.site = s.site OR n.site = s.against
    INNER JOIN numbered_people AS p ON p.wearer = n.wearer
    GROUP BY s.site, s.against
),
found AS (
    SELECT site, against, measure, UNNEST(list) AS of_person
    FROM lists
)
SELECT
    f.site,
    f.against,
    b.position,
    b.against_position,
    f.measure,
    CASE f.measure
        WHEN 'stays-on' THEN 1
        WHEN 'reads-true' THEN 2
        WHEN 'reads-high-or-low' THEN 3
        ELSE 4
    END AS measure_order,
    p.wearer,
    get_field(f.of_person, 'difference') AS difference,
    get_field(f.of_person, 'lower') AS lower,
    get_field(f.of_person, 'upper') AS upper,
    get_field(f.of_person, 'weight') AS weight,
    get_field(f.of_person, 'without') AS without,
    get_field(f.of_person, 'without_lower') AS without_lower,
    get_field(f.of_person, 'without_upper') AS without_upper,
    get_field(f.of_person, 'mean') AS mean,
    get_field(f.of_person, 'mean_lower') AS mean_lower,
    get_field(f.of_person, 'mean_upper') AS mean_upper,
    get_field(f.of_person, 'p') AS p,
    get_field(f.of_person, 'spread') AS spread,
    get_field(f.of_person, 'spread_lower') AS spread_lower,
    get_field(f.of_person, 'spread_upper') AS spread_upper,
    get_field(f.of_person, 'p_alike') AS p_alike,
    get_field(f.of_person, 'new_lower') AS new_lower,
    get_field(f.of_person, 'new_upper') AS new_upper
FROM found AS f
INNER JOIN numbered_people AS p ON p.person_no = CAST(get_field(f.of_person, 'person') AS BIGINT)
INNER JOIN site_pairs AS b ON b.site = f.site AND b.against = f.against
ORDER BY measure_order, b.position, b.against_position, p.wearer
