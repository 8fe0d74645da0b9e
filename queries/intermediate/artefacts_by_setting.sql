-- title = "Runs of readings that fall off and recover faster than blood glucose can, by setting of the detector"
-- row = "one run of one sensor, by day or night, under one setting"
-- role = "per-sensor"
-- [columns]
-- setting = { class = "category" }
-- wearer = { class = "wearer" }
-- sensor = { class = "sensor" }
-- site = { class = "site" }
-- start = { class = "time" }
-- end = { class = "time" }
-- nadir_time = { class = "time" }
-- nadir = { class = "estimate" }
-- drop = { class = "estimate" }
-- height = { class = "estimate" }
-- fall_minutes = { class = "estimate" }
-- recovery_minutes = { class = "estimate" }
-- probability = { class = "share" }
-- sensor_no = { class = "sensor", type = "integer" }

-- No more than 0.99 is claimed: invented nights do not tell higher probabilities apart.
WITH found AS (
    SELECT sensor_no, UNNEST(night_artefacts_of(time, glucose, status)) AS run
    FROM session_readings
    WHERE status IN ('ok', 'low', 'high')
    GROUP BY sensor_no
),
detectors AS (
    SELECT setting, strictness
    FROM (VALUES ('looser', 1), ('standard', 2), ('stricter', 3)) AS v (setting, strictness)
)
SELECT
    d.setting,
    s.wearer,
    s.sensor,
    s.site,
    get_field(f.run, 'artefact_start') AS start,
    get_field(f.run, 'artefact_end') AS "end",
    get_field(f.run, 'nadir_time') AS nadir_time,
    get_field(f.run, 'nadir') AS nadir,
    get_field(f.run, 'drop') AS drop,
    get_field(f.run, 'height') AS height,
    get_field(f.run, 'fall_minutes') AS fall_minutes,
    get_field(f.run, 'recovery_minutes') AS recovery_minutes,
    LEAST(get_field(f.run, 'probability'), 0.99) AS probability,
    s.sensor_no
FROM found AS f
INNER JOIN detectors AS d ON d.strictness <= get_field(f.run, 'strictness')
INNER JOIN sessions AS s ON s.sensor_no = f.sensor_no
ORDER BY d.setting, s.wearer, s.sensor, start
