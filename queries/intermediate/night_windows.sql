-- title = "Stretches of readings that the night tables look at"
-- row = "one stretch of one sensor, of one kind"
-- role = "intermediate"
-- [columns]
-- kind = { class = "category" }
-- event = { class = "identifying", type = "integer" }
-- panel = { class = "category", type = "integer" }
-- site = { class = "site" }
-- wearer = { class = "wearer" }
-- sensor = { class = "sensor" }
-- night = { class = "time", type = "date" }
-- start = { class = "time" }
-- evidence = { class = "category" }
-- judged = { class = "category" }
-- sensor_no = { class = "sensor", type = "integer" }
-- opens = { class = "time" }
-- closes = { class = "time" }

-- Kinds: `run` is the part of a counted artefact within its night; `night` is one of a site's at most three most telling
-- nights; `event` goes from 90 minutes before to 90 minutes after an artefact of the month, at most sixty of them.
WITH runs AS (
    SELECT
        a.*,
        n.night_start,
        n.night_end,
        s.inserted,
        s.worn_until,
        n.night_end > t.month_start AS of_month,
        CASE a.evidence WHEN 'confirmed' THEN 1 WHEN 'undecided' THEN 2 WHEN 'unchecked' THEN 2 ELSE 3 END AS certainty,
        ROW_NUMBER() OVER (ORDER BY a.wearer, a.sensor, a.start, a.night) AS event
    FROM night_artefacts AS a
    INNER JOIN nights AS n ON n.wearer = a.wearer AND n.night = a.night
    INNER JOIN sessions AS s ON s.sensor_no = a.sensor_no
    CROSS JOIN settings AS t
),
-- The most telling run stands for its night.
of_night AS (
    SELECT *, ROW_NUMBER() OVER (PARTITION BY sensor_no, night ORDER BY certainty, drop DESC, event) AS rank
    FROM runs
    WHERE counted = 1 AND evidence <> 'refuted'
),
of_site AS (
    SELECT *, ROW_NUMBER() OVER (PARTITION BY site ORDER BY certainty, drop DESC, event) AS panel
    FROM of_night
    WHERE rank = 1
),
of_month AS (
    SELECT *, ROW_NUMBER() OVER (ORDER BY drop DESC, event) AS size_rank
    FROM runs
    WHERE of_month
),
windows AS (
    SELECT
        'run' AS kind,
        event,
        0 AS panel,
        GREATEST(start, night_start) AS opens,
        LEAST("end", plus_hours(night_end, -1.0 / 3600000000)) AS closes
    FROM runs
    WHERE counted = 1
    UNION ALL
    SELECT
        'night' AS kind,
        event,
        panel,
        LEAST(start, night_start) AS opens,
        GREATEST("end", night_end) AS closes
    FROM of_site
    WHERE panel <= 3
    UNION ALL
    SELECT
        'event' AS kind,
        event,
        ROW_NUMBER() OVER (PARTITION BY site ORDER BY event) AS panel,
        plus_hours(start, -1.5) AS opens,
        plus_hours("end", 1.5) AS closes
    FROM of_month
    WHERE size_rank <= 60
)
SELECT
    w.kind,
    w.event,
    CAST(w.panel AS BIGINT) AS panel,
    r.site,
    r.wearer,
    r.sensor,
    r.night,
    r.start,
    r.evidence,
    r.judged,
    r.sensor_no,
    GREATEST(w.opens, r.inserted) AS opens,
    LEAST(w.closes, r.worn_until) AS closes
FROM windows AS w
INNER JOIN runs AS r ON r.event = w.event
ORDER BY w.kind, w.event
