-- title = "Each person at each site"
-- row = "one wearer, site and measure"
-- section = "spread"
-- order = 3
-- note = "Came off by the rated day: share. Reads true: mean absolute relative difference, percent. Reads high or low: mg/dL. Quiet at night: artefacts per 100 sensor-nights. Own: from this person's sensors alone, with the scatter that all people's sensors show. Drawn in: towards what people have there on average, the more so the less is known of this person. Only where several people wore the site."
-- [columns]
-- wearer = { label = "Wearer", class = "wearer" }
-- site = { label = "Site", class = "site" }
-- measure = { label = "Measure", class = "category" }
-- estimate = { label = "Own", digits = 2, class = "estimate" }
-- lower = { label = "from", digits = 2, class = "lower" }
-- upper = { label = "to", digits = 2, class = "upper" }
-- shrunken = { label = "Drawn in", digits = 2, class = "estimate" }
-- shrunken_lower = { digits = 2, class = "lower" }
-- shrunken_upper = { digits = 2, class = "upper" }

-- Shares and rates end where there can be none below, shares where there can be none above.
WITH bounded AS (
    SELECT
        *,
        CASE WHEN measure <> 'reads-high-or-low' THEN 0.0 END AS least,
        CASE WHEN measure = 'stays-on' THEN 1.0 END AS most
    FROM people_effects
)
SELECT
    wearer,
    site,
    measure,
    estimate,
    clamp(lower, least, most) AS lower,
    clamp(upper, least, most) AS upper,
    shrunken,
    clamp(shrunken_lower, least, most) AS shrunken_lower,
    clamp(shrunken_upper, least, most) AS shrunken_upper
FROM bounded
WHERE shrunken IS NOT NULL
ORDER BY position, measure_order, wearer
