-- title = "The next sensor"
-- row = "one site, of any wearer (empty) or of one"
-- section = "spread"
-- order = 2
-- note = "What one more sensor of the same wearers will do, 95 of 100 times. Read on average: percent of the fingerstick, its own mean over many pairs. Usable days: to any ending, the rated wear at most. 95 of 100 sensors: limits that hold so many, with a confidence of 95 %. Other way: the chance that it reads low where the mean reads high, or high where it reads low; its bound holds with a confidence of 95 %, and sensors are said to agree where that is at most 1 in 20. From three sensors on."
-- [columns]
-- site = { label = "Site", class = "site" }
-- wearer = { label = "Wearer", class = "wearer" }
-- sensors = { label = "Sensors with pairs", class = "count" }
-- bias = { label = "Reads on average", unit = "%", digits = 1, class = "estimate" }
-- bias_lower = { unit = "%", digits = 1, class = "lower" }
-- bias_upper = { unit = "%", digits = 1, class = "upper" }
-- beyond_15 = { label = "Off by more than 15 %", unit = "share", digits = 0, class = "share" }
-- beyond_15_lower = { unit = "share", digits = 0, class = "lower" }
-- beyond_15_upper = { unit = "share", digits = 0, class = "upper" }
-- days_lower = { label = "Usable days from", unit = "days", digits = 1, class = "lower" }
-- days_median = { label = "Usable days, median", unit = "days", digits = 1, class = "estimate" }
-- days_upper = { label = "to", unit = "days", digits = 1, class = "upper" }
-- sessions = { label = "Sensors worn", class = "count" }
-- reaches_rated = { label = "Reaches the rated wear", unit = "share", digits = 0, class = "share" }
-- tolerance_lower = { label = "95 of 100 sensors from", unit = "%", digits = 1, class = "lower" }
-- tolerance_upper = { label = "to", unit = "%", digits = 1, class = "upper" }
-- other_way = { label = "Reads the other way", unit = "share", digits = 0, class = "share" }
-- other_way_bound = { label = "at most", unit = "share", digits = 0, class = "share" }
-- agree = { label = "Sensors agree", class = "category" }
WITH people AS (
    SELECT COUNT(DISTINCT wearer) AS wearers
    FROM sessions
),
worn AS (
    SELECT l.site, '' AS person, COUNT(*) AS sessions, next_days(l.day, l.any_ending, t.rated_days) AS foretold
    FROM lives AS l
    CROSS JOIN settings AS t
    GROUP BY l.site
    UNION ALL
    SELECT l.site, l.wearer AS person, COUNT(*) AS sessions, next_days(l.day, l.any_ending, t.rated_days) AS foretold
    FROM lives AS l
    CROSS JOIN settings AS t
    CROSS JOIN people AS p
    WHERE p.wearers > 1
    GROUP BY l.site, l.wearer
),
paired AS (
    SELECT site, '' AS person, COUNT(DISTINCT sensor_no) AS sensors, next_level(100 * relative_difference, sensor_no, 15.0) AS foretold
    FROM compared_pairs
    GROUP BY site
    UNION ALL
    SELECT
        q.site,
        q.wearer AS person,
        COUNT(DISTINCT q.sensor_no) AS sensors,
        next_level(100 * q.relative_difference, q.sensor_no, 15.0) AS foretold
    FROM compared_pairs AS q
    CROSS JOIN people AS p
    WHERE p.wearers > 1
    GROUP BY q.site, q.wearer
)
SELECT
    w.site,
    NULLIF(w.person, '') AS wearer,
    COALESCE(p.sensors, 0) AS sensors,
    get_field(p.foretold, 'mean') AS bias,
    get_field(p.foretold, 'lower') AS bias_lower,
    get_field(p.foretold, 'upper') AS bias_upper,
    get_field(p.foretold, 'beyond') AS beyond_15,
    get_field(p.foretold, 'beyond_lower') AS beyond_15_lower,
    get_field(p.foretold, 'beyond_upper') AS beyond_15_upper,
    get_field(w.foretold, 'lower') AS days_lower,
    get_field(w.foretold, 'median') AS days_median,
    get_field(w.foretold, 'upper') AS days_upper,
    w.sessions,
    get_field(w.foretold, 'reaches') AS reaches_rated,
    get_field(p.foretold, 'tolerance_lower') AS tolerance_lower,
    get_field(p.foretold, 'tolerance_upper') AS tolerance_upper,
    get_field(p.foretold, 'other_way') AS other_way,
    get_field(p.foretold, 'other_way_bound') AS other_way_bound,
    CASE WHEN get_field(p.foretold, 'agree') = 1 THEN 'yes' WHEN get_field(p.foretold, 'agree') = 0 THEN 'no' END AS agree
FROM worn AS w
INNER JOIN sites AS s ON s.site = w.site
LEFT JOIN paired AS p ON p.site = w.site AND p.person = w.person
ORDER BY s.position, w.person
