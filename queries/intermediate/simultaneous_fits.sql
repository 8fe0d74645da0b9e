-- title = "Common readings of two sensors worn at once"
-- row = "two sensors of one wearer that have some"
-- role = "per-wearer"
-- [columns]
-- wearer = { class = "wearer" }
-- first_no = { class = "sensor", type = "integer" }
-- second_no = { class = "sensor", type = "integer" }
-- readings = { class = "count" }
-- difference = { class = "estimate" }
-- percent = { class = "estimate" }
-- sd = { class = "estimate" }
-- absolute_relative = { class = "estimate" }
-- lag = { class = "estimate" }

-- A reading of the second sensor within half the spacing lies in one of two slots of that width, so one join on slots
-- finds it. The readings of the first stream past in the order of the store, one pair of sensors after another.
WITH slots AS (
    SELECT p.*, k.step
    FROM sensor_pairs AS p
    CROSS JOIN (VALUES (0), (1)) AS k (step)
),
seconds AS (
    SELECT
        p.wearer,
        p.first_no,
        p.second_no,
        r.time,
        r.glucose,
        CAST(r.time AS BIGINT) / (2 * p.half_spacing) AS slot
    FROM sensor_pairs AS p
    INNER JOIN readings AS r ON r.wearer = p.wearer AND r.sensor_no = p.second_no
    WHERE r.status = 'ok' AND r.time >= p.both_from AND r.time <= p.both_until
),
firsts AS (
    SELECT
        p.wearer,
        p.first_no,
        p.second_no,
        p.half_spacing,
        r.time,
        r.glucose,
        (CAST(r.time AS BIGINT) - p.half_spacing) / (2 * p.half_spacing) + p.step AS slot
    FROM slots AS p
    INNER JOIN readings AS r ON r.wearer = p.wearer AND r.sensor_no = p.first_no
    WHERE r.status = 'ok' AND r.time >= p.both_from AND r.time <= p.both_until
),
fits AS (
    SELECT
        f.wearer,
        f.first_no,
        f.second_no,
        two_sensors(
            CAST(f.time AS BIGINT) / 60000000.0,
            f.glucose,
            minutes_between(f.time, s.time),
            s.glucose
        ) AS fit
    FROM seconds AS s
    INNER JOIN firsts AS f ON f.wearer = s.wearer AND f.first_no = s.first_no AND f.second_no = s.second_no AND f.slot = s.slot
    WHERE ABS(CAST(s.time AS BIGINT) - CAST(f.time AS BIGINT)) <= f.half_spacing
    GROUP BY f.wearer, f.first_no, f.second_no
)
SELECT
    wearer,
    first_no,
    second_no,
    CAST(get_field(fit, 'readings') AS BIGINT) AS readings,
    get_field(fit, 'difference') AS difference,
    get_field(fit, 'percent') AS percent,
    get_field(fit, 'sd') AS sd,
    get_field(fit, 'absolute_relative') AS absolute_relative,
    get_field(fit, 'lag') AS lag
FROM fits
