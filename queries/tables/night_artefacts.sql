-- title = "Night artefacts one by one"
-- row = "one run of readings in one night"
-- section = "nights"
-- order = 4
-- note = "Only a fingerstick can tell a false low from a true one: unchecked means that nobody knows. Probability by shape: how many runs of this shape were artefacts on invented nights; no more than 99 % is claimed. Counted: the night has enough readings to enter the rates. Judged: the verdict in judgements.csv, which changes neither the evidence nor the rate."
-- show = 40
-- [columns]
-- wearer = { label = "Wearer", class = "wearer" }
-- sensor = { label = "Sensor", class = "sensor" }
-- site = { label = "Site", class = "site" }
-- night = { label = "Night of", class = "time", type = "date" }
-- start = { label = "From", class = "time" }
-- end = { label = "To", class = "time" }
-- nadir = { label = "Lowest", unit = "mg/dL", digits = 0, class = "estimate" }
-- drop = { label = "Below expected by", unit = "mg/dL", digits = 0, class = "estimate" }
-- evidence = { label = "Evidence", class = "category" }
-- counted = { label = "Counted", class = "category", type = "integer" }
-- nadir_time = { hidden = true, class = "time" }
-- fall_minutes = { hidden = true, class = "estimate" }
-- recovery_minutes = { hidden = true, class = "estimate" }
-- probability = { label = "Probability by shape", unit = "share", digits = 0, class = "share" }
-- judged = { label = "Judged", class = "category" }
-- reasons = { label = "Reasons", class = "category" }
-- sparse_minutes = { hidden = true, class = "estimate" }
-- sensor_no = { hidden = true, class = "sensor", type = "integer" }
WITH found AS (
    SELECT
        e.*,
        CASE
            WHEN e.evidence NOT IN ('confirmed', 'refuted') AND hardly_told(p.spacing_minutes, e.nadir)
                THEN p.spacing_minutes
        END AS sparse_minutes
    FROM night_evidence AS e
    INNER JOIN sensor_spacing AS p ON p.sensor_no = e.sensor_no
    WHERE e.setting = 'standard'
)
-- The reasons are put in words by the report, in its language, from this row.
SELECT
    w.wearer,
    w.sensor,
    w.site,
    w.night,
    w.start,
    w."end",
    w.nadir,
    w.drop,
    w.evidence,
    w.counted,
    w.nadir_time,
    w.fall_minutes,
    w.recovery_minutes,
    w.probability,
    j.verdict AS judged,
    w.evidence AS reasons,
    w.sparse_minutes,
    w.sensor_no
FROM found AS w
LEFT JOIN judged_artefacts AS j ON j.sensor_no = w.sensor_no AND j.start = w.start AND j.run_rank = 1
ORDER BY w.wearer, w.sensor, w.start, w.night
