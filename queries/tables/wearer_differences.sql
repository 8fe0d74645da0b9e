-- title = "Each person's own difference between two sites"
-- row = "one measure, pair of sites and wearer who wore both"
-- section = "people"
-- order = 6
-- show = 30
-- note = "The first site less the second. Came off by the rated day: share. Reads true: percentage points of the mean absolute relative difference. Reads high or low: mg/dL. Quiet at night: artefacts per 100 sensor-nights. Weight: share in the mean over people. Without: the mean over people without this one, up to a hundred people."
-- [columns]
-- measure = { label = "Measure", class = "category" }
-- site = { label = "Site", class = "site" }
-- against = { label = "less", class = "site" }
-- wearer = { label = "Wearer", class = "wearer" }
-- difference = { label = "Difference", digits = 2, class = "estimate" }
-- lower = { label = "from", digits = 2, class = "lower" }
-- upper = { label = "to", digits = 2, class = "upper" }
-- weight = { label = "Weight", unit = "share", digits = 0, class = "share" }
-- without = { label = "Mean without", digits = 2, class = "estimate" }
-- without_lower = { digits = 2, class = "lower" }
-- without_upper = { digits = 2, class = "upper" }

-- Shares differ by 1 at most.
WITH bounded AS (
    SELECT *, CASE WHEN measure = 'stays-on' THEN 1.0 END AS most
    FROM within_wearers
)
SELECT
    measure,
    site,
    against,
    wearer,
    difference,
    clamp(lower, -most, most) AS lower,
    clamp(upper, -most, most) AS upper,
    weight,
    without,
    clamp(without_lower, -most, most) AS without_lower,
    clamp(without_upper, -most, most) AS without_upper
FROM bounded
WHERE weight IS NOT NULL
ORDER BY measure_order, position, against_position, wearer
