-- title = "How much a site differs between people"
-- row = "one measure at a site where several people wore sensors"
-- section = "spread"
-- order = 4
-- note = "Came off: share by the rated day. Reads true: mean absolute relative difference, percent. Reads high or low: {mg/dL}. Artefacts at night: per 100 sensor-nights. Spread: standard deviation between people, sensors' own scatter taken off. p: of people who are all alike. A new person: what one more would have, 95 of 100 times; from three people on."
-- [columns]
-- site = { label = "Site", class = "site" }
-- measure = { label = "Measure", class = "category" }
-- wearers = { label = "Wearers", class = "count" }
-- mean = { label = "Mean over people", digits = 2, class = "estimate" }
-- spread = { label = "Spread between people", digits = 2, class = "estimate" }
-- spread_lower = { digits = 2, class = "lower" }
-- spread_upper = { digits = 2, class = "upper" }
-- p = { label = "p", digits = 3, class = "p" }
-- prediction_lower = { label = "A new person from", digits = 2, class = "lower" }
-- prediction_upper = { label = "to", digits = 2, class = "upper" }
WITH numbered AS (
    SELECT
        *,
        CASE WHEN measure <> 'reads-high-or-low' THEN 0.0 END AS least,
        CASE WHEN measure = 'stays-on' THEN 1.0 END AS most,
        COUNT(*) OVER (PARTITION BY site, measure) AS wearers,
        ROW_NUMBER() OVER (PARTITION BY site, measure ORDER BY wearer) AS number
    FROM people_effects
)
SELECT
    site,
    measure,
    wearers,
    mean,
    spread,
    -- People who differ less than their sensors scatter: no spread at all fits them, and 0 to 0 would say that they are alike.
    CASE WHEN spread_upper > 0 THEN spread_lower END AS spread_lower,
    NULLIF(spread_upper, 0) AS spread_upper,
    p,
    clamp(new_lower, least, most) AS prediction_lower,
    clamp(new_upper, least, most) AS prediction_upper
FROM numbered
WHERE number = 1 AND spread IS NOT NULL
ORDER BY position, measure_order
