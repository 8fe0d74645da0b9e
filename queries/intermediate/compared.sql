-- title = "What sites are compared by"
-- row = "one fact: a sensor, a pair, a night, a delay, a look, or a line of the plan"
-- role = "view"
-- [columns]
-- fact = { class = "category" }
-- of_sensor = { class = "sensor", type = "number" }
-- text_1 = { class = "identifying" }
-- text_2 = { class = "identifying" }
-- text_3 = { class = "identifying" }
-- text_4 = { class = "identifying" }
-- text_5 = { class = "identifying" }
-- text_6 = { class = "identifying" }
-- number_1 = { class = "estimate" }
-- number_2 = { class = "estimate" }
-- number_3 = { class = "estimate" }
-- number_4 = { class = "estimate" }
-- number_5 = { class = "estimate" }
-- number_6 = { class = "estimate" }

-- All that `conclude` needs in one shape: `fact` says what `of_sensor`, the texts and the numbers hold. Times are days
-- since the epoch. A draw's texts are the sites that were open and the chance of each, joined by a plus sign. A pair's `number_5` is the share of its sensor's
-- readings that are lower; its `text_3` is empty where its rate, `number_6`, cannot be told. A sensor's `number_5` says how it ended: 0 censored, 1 came off, 2 another ending that competes; 4 is added
-- where its clock is in doubt, 8 where its unit is.
WITH until AS (
    SELECT
        s.*,
        CASE WHEN s.state = 'still on' THEN t.cutoff ELSE s.seen_until END AS known_until
    FROM sessions AS s
    CROSS JOIN settings AS t
),
numbered AS (
    SELECT *, ROW_NUMBER() OVER (ORDER BY wearer, inserted, sensor) AS number
    FROM until
),
found AS (
    SELECT wearer, sensor, night, COUNT(*) AS artefacts
    FROM night_artefacts
    WHERE counted = 1 AND evidence <> 'refuted'
    GROUP BY wearer, sensor, night
),
doubts AS (
    SELECT
        wearer,
        sensor,
        MAX(CASE WHEN kind = 'clock-sensor' THEN 4.0 ELSE 0.0 END) + MAX(CASE WHEN kind = 'unit' THEN 8.0 ELSE 0.0 END) AS doubt
    FROM findings
    WHERE kind IN ('clock-sensor', 'unit') AND severity = 'wrong' AND sensor <> ''
    GROUP BY wearer, sensor
),
ranked AS (
    SELECT p.sensor_no, p.fingerstick_no, p.fingerstick_time, p.difference, p.relative_difference, p.wear_days, l.rank
    FROM reading_levels AS l
    RIGHT JOIN compared_pairs AS p ON l.sensor_no = p.sensor_no AND l.level = FLOOR(p.reading / 5.0)
),
moving AS (
    SELECT p.*, r.rate
    FROM near_readings AS r
    RIGHT JOIN ranked AS p ON r.sensor_no = p.sensor_no AND r.fingerstick_no = p.fingerstick_no
),
checked AS (
    SELECT p.*, c.purpose, c.meter
    FROM numbered_fingersticks AS c
    INNER JOIN moving AS p ON c.fingerstick_no = p.fingerstick_no
),
facts AS (
    SELECT
        'sensor' AS fact,
        n.number AS of_sensor,
        n.wearer AS text_1,
        n.site AS text_2,
        n.model AS text_3,
        n.lot AS text_4,
        n.tape AS text_5,
        n.side AS text_6,
        CAST(n.inserted AS BIGINT) / 86400000000.0 AS number_1,
        CAST(DATE_PART('year', n.inserted) * 4 + DATE_PART('quarter', n.inserted) AS DOUBLE) AS number_2,
        n.rated_days AS number_3,
        CAST(n.known_until AS BIGINT) / 86400000000.0 AS number_4,
        CASE WHEN n.detached = 1 THEN 1.0 WHEN n.cause IN ('sensor-fault', 'reaction', 'not-started') THEN 2.0 ELSE 0.0 END
        + COALESCE(o.doubt, 0.0) AS number_5
    FROM numbered AS n
    LEFT JOIN doubts AS o ON o.wearer = n.wearer AND o.sensor = n.sensor
    UNION ALL BY NAME
    SELECT
        'draw' AS fact,
        n.number AS of_sensor,
        d.allowed AS text_1,
        d.chances AS text_2,
        CAST(d.number AS DOUBLE) AS number_1
    FROM numbered AS n
    INNER JOIN draws AS d ON d.wearer = n.wearer AND d.sensor = n.sensor
    UNION ALL BY NAME
    SELECT
        'pair' AS fact,
        n.number AS of_sensor,
        p.purpose AS text_1,
        p.meter AS text_2,
        CASE WHEN p.rate IS NOT NULL THEN 'told' END AS text_3,
        CAST(p.fingerstick_time AS BIGINT) / 86400000000.0 AS number_1,
        p.difference AS number_2,
        p.relative_difference AS number_3,
        p.wear_days AS number_4,
        COALESCE(p.rank, 0.5) AS number_5,
        COALESCE(p.rate, 0.0) AS number_6
    FROM numbered AS n
    INNER JOIN checked AS p ON p.sensor_no = n.sensor_no
    UNION ALL BY NAME
    SELECT
        'night' AS fact,
        n.number AS of_sensor,
        CAST(g.night_end AS BIGINT) / 86400000000.0 AS number_1,
        CAST(COALESCE(f.artefacts, 0) AS DOUBLE) AS number_2,
        g.wear_days AS number_3
    FROM numbered AS n
    INNER JOIN compared_nights AS g ON g.sensor_no = n.sensor_no
    LEFT JOIN found AS f ON f.wearer = g.wearer AND f.sensor = g.sensor AND f.night = g.night
    WHERE g.counted = 1
    UNION ALL BY NAME
    SELECT
        'lost night' AS fact,
        n.number AS of_sensor,
        CAST(g.night_end AS BIGINT) / 86400000000.0 AS number_1
    FROM numbered AS n
    INNER JOIN compared_nights AS g ON g.sensor_no = n.sensor_no
    INNER JOIN wearer_limits AS t ON t.wearer = g.wearer
    WHERE g.counted = 0 AND at_least(g.warm_minutes, t.night_coverage * g.night_minutes)
    UNION ALL BY NAME
    SELECT
        'delay' AS fact,
        n.number AS of_sensor,
        d.minutes AS number_1,
        d.weight AS number_2
    FROM numbered AS n
    INNER JOIN sensor_delays AS d ON d.sensor_no = n.sensor_no
    UNION ALL BY NAME
    SELECT
        'look' AS fact,
        CAST(look AS BIGINT) / 86400000000.0 AS number_1
    FROM looks
    UNION ALL BY NAME
    SELECT
        'site' AS fact,
        s.site AS text_2,
        CAST(s.position AS DOUBLE) AS number_1
    FROM sites AS s
    INNER JOIN (SELECT DISTINCT site FROM sessions) AS w ON w.site = s.site
    UNION ALL BY NAME
    SELECT
        'plan ' || what AS fact,
        measure AS text_1,
        site AS text_2,
        against AS text_3,
        value AS number_1
    FROM plan_rows
)
SELECT
    fact,
    COALESCE(of_sensor, 0) AS of_sensor,
    COALESCE(text_1, '') AS text_1,
    COALESCE(text_2, '') AS text_2,
    COALESCE(text_3, '') AS text_3,
    COALESCE(text_4, '') AS text_4,
    COALESCE(text_5, '') AS text_5,
    COALESCE(text_6, '') AS text_6,
    COALESCE(number_1, 0.0) AS number_1,
    COALESCE(number_2, 0.0) AS number_2,
    COALESCE(number_3, 0.0) AS number_3,
    COALESCE(number_4, 0.0) AS number_4,
    COALESCE(number_5, 0.0) AS number_5,
    COALESCE(number_6, 0.0) AS number_6
FROM facts
