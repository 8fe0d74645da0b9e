-- title = "Two sensors worn at once"
-- row = "two sensors of one wearer"
-- section = "compare"
-- order = 12
-- show = 60
-- note = "First less second over their common readings, after warm-up; no fingerstick is needed. Percent of the mean of the two. Lag: minutes by which the first is behind the second."
-- [columns]
-- wearer = { label = "Wearer", class = "wearer" }
-- first_site = { label = "First site", class = "site" }
-- second_site = { label = "Second site", class = "site" }
-- first_sensor = { label = "First sensor", class = "sensor" }
-- second_sensor = { label = "Second sensor", class = "sensor" }
-- first_no = { hidden = true, class = "sensor", type = "integer" }
-- second_no = { hidden = true, class = "sensor", type = "integer" }
-- both_from = { label = "Both worn from", hidden = true, class = "time" }
-- readings = { label = "Readings in common", class = "count" }
-- hours = { label = "Hours in common", digits = 0, class = "estimate" }
-- difference = { label = "Mean difference", unit = "mg/dL", digits = 1, class = "estimate" }
-- percent = { label = "Mean difference", unit = "%", digits = 1, class = "estimate" }
-- sd_differences = { label = "SD of the differences", unit = "mg/dL", digits = 1, class = "estimate" }
-- absolute_relative = { label = "Mean absolute relative difference", unit = "share", digits = 1, class = "estimate" }
-- lag_minutes = { label = "Lag", unit = "min", digits = 1, class = "estimate" }

-- A reading of the second sensor within half the spacing lies in one of two slots of that width, so one join on slots
-- finds it. The readings of the first stream past in the order of the store, one pair of sensors after another.
WITH slots AS (
    SELECT p.*, k.step
    FROM sensor_pairs AS p
    CROSS JOIN (VALUES (0), (1)) AS k (step)
),
seconds AS (
    SELECT
        p.first_no,
        p.second_no,
        r.time,
        r.glucose,
        CAST(r.time AS BIGINT) / (2 * p.half_spacing) AS slot
    FROM sensor_pairs AS p
    INNER JOIN readings AS r ON r.sensor_no = p.second_no
    WHERE r.status = 'ok' AND r.time >= p.both_from AND r.time <= p.both_until
),
firsts AS (
    SELECT
        r.sensor_no,
        p.second_no,
        p.half_spacing,
        r.time,
        r.glucose,
        (CAST(r.time AS BIGINT) - p.half_spacing) / (2 * p.half_spacing) + p.step AS slot
    FROM slots AS p
    INNER JOIN readings AS r ON r.sensor_no = p.first_no
    WHERE r.status = 'ok' AND r.time >= p.both_from AND r.time <= p.both_until
),
fits AS (
    SELECT
        f.sensor_no,
        f.second_no,
        two_sensors(
            CAST(f.time AS BIGINT) / 60000000.0,
            f.glucose,
            minutes_between(f.time, s.time),
            s.glucose
        ) AS fit
    FROM seconds AS s
    INNER JOIN firsts AS f ON f.sensor_no = s.first_no AND f.second_no = s.second_no AND f.slot = s.slot
    WHERE ABS(CAST(s.time AS BIGINT) - CAST(f.time AS BIGINT)) <= f.half_spacing
    GROUP BY f.sensor_no, f.second_no
)
SELECT
    p.wearer,
    p.first_site,
    p.second_site,
    p.first_sensor,
    p.second_sensor,
    p.both_from,
    CAST(get_field(f.fit, 'readings') AS BIGINT) AS readings,
    get_field(f.fit, 'readings') * p.spacing_minutes / 60 AS hours,
    get_field(f.fit, 'difference') AS difference,
    get_field(f.fit, 'percent') AS percent,
    get_field(f.fit, 'sd') AS sd_differences,
    get_field(f.fit, 'absolute_relative') AS absolute_relative,
    get_field(f.fit, 'lag') AS lag_minutes,
    p.first_no,
    p.second_no
FROM sensor_pairs AS p
INNER JOIN fits AS f ON f.sensor_no = p.first_no AND f.second_no = p.second_no
ORDER BY p.wearer, p.both_from, p.first_sensor, p.second_sensor
