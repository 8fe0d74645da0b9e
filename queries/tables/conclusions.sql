-- title = "What can be said of the sites"
-- row = "one measure and comparison of two sites, or of one site with the mean of the others"
-- section = "compare"
-- order = 0
-- note = "The site less the other: the share that came off by the rated day (by an earlier one where too few were worn longer), percentage points of mean absolute relative difference, mg/dL, artefacts per 100 sensor-nights, minutes. The interval is 95 % for all rows of the family together at this look. Evidence may be looked at every month, by whoever stops when they like: without a difference it reaches 20 in at most one study of twenty. It takes the site of a sensor to be chosen without regard to how that sensor will do, and normal scatter of sensors where there are few. The page on sentences says how well that holds."
-- [columns]
-- measure = { label = "Measure", class = "category" }
-- site = { label = "Site", class = "site" }
-- against = { label = "against", class = "site" }
-- difference = { label = "Difference", digits = 2, class = "estimate" }
-- lower = { label = "from", digits = 2, class = "lower" }
-- upper = { label = "to", digits = 2, class = "upper" }
-- sensors = { label = "Sensors", class = "count" }
-- sensors_against = { label = "against", class = "count" }
-- wearers = { label = "Wearers", class = "count" }
-- evidence = { label = "Evidence", digits = 1, class = "estimate" }
-- p = { label = "p of this look", digits = 4, class = "p" }
-- verdict = { label = "Verdict", class = "category" }
-- withdrawn = { label = "Withdrawn for", class = "category" }
-- more_sensors = { label = "More sensors a site", class = "count" }
-- alike_from = { label = "Alike from a margin of", digits = 2, class = "estimate" }
-- planned = { label = "Planned", class = "count" }
-- primary = { hidden = true, class = "count" }
-- until = { hidden = true, unit = "days", class = "count" }
WITH listed AS (
    SELECT UNNEST(conclude(
        fact, of_sensor, text_1, text_2, text_3, text_4, text_5, text_6,
        number_1, number_2, number_3, number_4, number_5, number_6
    )) AS row
    FROM compared
),
fields AS (
    SELECT
        get_field(row, 'place') AS place,
        CAST(get_field(row, 'measure') AS BIGINT) AS measure_no,
        get_field(row, 'position') AS position,
        get_field(row, 'position_against') AS position_against,
        get_field(row, 'difference') AS difference,
        get_field(row, 'lower') AS lower,
        get_field(row, 'upper') AS upper,
        CAST(get_field(row, 'sensors') AS BIGINT) AS sensors,
        CAST(get_field(row, 'sensors_against') AS BIGINT) AS sensors_against,
        CAST(get_field(row, 'wearers') AS BIGINT) AS wearers,
        get_field(row, 'evidence') AS evidence,
        get_field(row, 'p') AS p,
        CAST(get_field(row, 'verdict') AS BIGINT) AS verdict_no,
        CAST(get_field(row, 'withdrawn') AS BIGINT) AS reasons,
        CAST(get_field(row, 'more_sensors') AS BIGINT) AS more_sensors,
        CAST(get_field(row, 'planned') AS BIGINT) AS planned,
        CAST(get_field(row, 'primary') AS BIGINT) AS is_primary,
        CAST(get_field(row, 'until') AS BIGINT) AS until
    FROM listed
)
SELECT
    CASE f.measure_no
        WHEN 0 THEN 'stays-on'
        WHEN 1 THEN 'reads-true'
        WHEN 2 THEN 'reads-high-or-low'
        WHEN 3 THEN 'quiet-at-night'
        ELSE 'delay'
    END AS measure,
    a.site,
    COALESCE(b.site, 'others') AS against,
    f.difference,
    f.lower,
    f.upper,
    f.sensors,
    f.sensors_against,
    f.wearers,
    f.evidence,
    f.p,
    CASE f.verdict_no WHEN 0 THEN 'differs' WHEN 1 THEN 'alike' WHEN 2 THEN 'leans' ELSE 'open' END AS verdict,
    withdrawn_for(f.reasons) AS withdrawn,
    f.more_sensors,
    CASE WHEN f.verdict_no = 3 AND f.reasons = 0 AND b.site IS NOT NULL THEN GREATEST(-f.lower, f.upper) END AS alike_from,
    f.planned,
    f.is_primary AS "primary",
    f.until
FROM fields AS f
INNER JOIN sites AS a ON CAST(a.position AS DOUBLE) = f.position
LEFT JOIN sites AS b ON CAST(b.position AS DOUBLE) = f.position_against
ORDER BY f.place
