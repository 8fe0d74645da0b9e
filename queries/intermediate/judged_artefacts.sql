-- title = "Judgements and the night artefacts that they are of"
-- row = "one night artefact that somebody judged"
-- role = "intermediate"
-- [columns]
-- sensor_no = { class = "sensor", type = "integer" }
-- start = { class = "time" }
-- verdict = { class = "category" }
-- note = { class = "identifying" }
-- run_rank = { class = "category", type = "integer" }

-- A judgement is of the run that begins nearest to it, among those that it falls into or begins at most one spacing
-- before; where several are of one run, the nearest counts.
WITH near AS (
    SELECT
        a.sensor_no,
        a.start,
        j.start AS judged_start,
        j.verdict,
        j.note,
        ABS(minutes_between(j.start, a.start)) AS minutes_off
    FROM judgements AS j
    INNER JOIN night_evidence AS a ON a.wearer = j.wearer AND a.sensor = j.sensor
    INNER JOIN sensor_spacing AS p ON p.sensor_no = a.sensor_no
    WHERE
        a.setting = 'standard'
        AND at_most(minutes_between(j.start, a.start), p.spacing_minutes)
        AND j.start <= a."end"
),
of_judgement AS (
    SELECT *, ROW_NUMBER() OVER (PARTITION BY sensor_no, judged_start ORDER BY minutes_off, start) AS rank
    FROM near
),
of_run AS (
    SELECT *, ROW_NUMBER() OVER (PARTITION BY sensor_no, start ORDER BY minutes_off, judged_start) AS run_rank
    FROM of_judgement
    WHERE rank = 1
)
SELECT sensor_no, start, verdict, note, run_rank
FROM of_run
ORDER BY sensor_no, start, run_rank
