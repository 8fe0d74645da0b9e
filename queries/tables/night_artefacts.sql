-- title = "Night artefacts one by one"
-- row = "one run of readings in one night"
-- section = "nights"
-- order = 4
-- note = "Only a fingerstick can tell whether glucose was as low as was read: unchecked means that nobody knows."
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
WITH words AS (
    SELECT
        e.*,
        CASE
            WHEN t.unit = 'mg/dL' THEN CAST(CAST(ROUND(e.drop) AS BIGINT) AS TEXT)
            ELSE CAST(ROUND(e.drop / 18.0156, 1) AS TEXT)
        END || ' ' || t.unit AS fall,
        CAST(CAST(ROUND(e.fall_minutes) AS BIGINT) AS TEXT) || ' min' AS fall_time,
        CAST(CAST(ROUND(e.recovery_minutes) AS BIGINT) AS TEXT) || ' min' AS recovery_time,
        CASE e.evidence
            WHEN 'confirmed' THEN 'a fingerstick was well above'
            WHEN 'refuted' THEN 'a fingerstick was as low'
            WHEN 'undecided' THEN 'a fingerstick did not settle it'
            ELSE 'no fingerstick'
        END AS check_words,
        -- Readings so far apart that a fast fall to a low looks like pressure, and a low that may have been read too
        -- high.
        CASE
            WHEN
                e.evidence NOT IN ('confirmed', 'refuted') AND hardly_told(p.spacing_minutes, e.nadir)
                THEN p.spacing_minutes
        END AS sparse_minutes
    FROM night_evidence AS e
    INNER JOIN sensor_spacing AS p ON p.sensor_no = e.sensor_no
    CROSS JOIN settings AS t
    WHERE e.setting = 'standard'
)
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
    'fell ' || w.fall || ' in ' || w.fall_time || ', recovered in ' || w.recovery_time || ', ' || w.check_words
    || COALESCE(
        ', but readings ' || CAST(CAST(ROUND(w.sparse_minutes) AS BIGINT) AS TEXT)
        || ' min apart hardly tell it from a fast true low',
        ''
    ) AS reasons,
    w.sparse_minutes,
    w.sensor_no
FROM words AS w
LEFT JOIN judged_artefacts AS j ON j.sensor_no = w.sensor_no AND j.start = w.start AND j.run_rank = 1
ORDER BY w.wearer, w.sensor, w.start, w.night
