-- title = "Differences within people, over people"
-- row = "one measure and pair of sites that several people wore both of"
-- section = "people"
-- order = 5
-- note = "A meta-analysis of each person's own difference, the first site less the second: every person is their own control. Came off by the rated day: share. Reads true: percentage points. Reads high or low: mg/dL. Quiet at night: artefacts per 100 sensor-nights. Spread: standard deviation between people's differences, by restricted maximum likelihood; its square is tau². Interval of the mean: Hartung and Knapp. A new person: what one more would have, 95 of 100 times; from three people on. Lowest and highest: the mean with one person left out, from three people on."
-- [columns]
-- measure = { label = "Measure", class = "category" }
-- site = { label = "Site", class = "site" }
-- against = { label = "less", class = "site" }
-- wearers = { label = "Wearers of both", class = "count" }
-- mean = { label = "Mean difference", digits = 2, class = "estimate" }
-- mean_lower = { digits = 2, class = "lower" }
-- mean_upper = { digits = 2, class = "upper" }
-- p = { label = "p", digits = 3, class = "p" }
-- spread = { label = "Spread between people", digits = 2, class = "estimate" }
-- spread_lower = { digits = 2, class = "lower" }
-- spread_upper = { digits = 2, class = "upper" }
-- tau_squared = { label = "tau²", digits = 3, class = "estimate" }
-- p_alike = { label = "p of all alike", digits = 3, class = "p" }
-- new_lower = { label = "A new person from", digits = 2, class = "lower" }
-- new_upper = { label = "to", digits = 2, class = "upper" }
-- without_lowest = { label = "Lowest with one left out", digits = 2, class = "estimate" }
-- without_highest = { label = "Highest", digits = 2, class = "estimate" }

-- Shares differ by 1 at most.
WITH numbered AS (
    SELECT
        *,
        CASE WHEN measure = 'stays-on' THEN 1.0 END AS most,
        COUNT(*) OVER (PARTITION BY measure, site, against) AS wearers,
        MIN(without) OVER (PARTITION BY measure, site, against) AS without_lowest,
        MAX(without) OVER (PARTITION BY measure, site, against) AS without_highest,
        ROW_NUMBER() OVER (PARTITION BY measure, site, against ORDER BY wearer) AS number
    FROM within_wearers
)
SELECT
    measure,
    site,
    against,
    wearers,
    mean,
    clamp(mean_lower, -most, most) AS mean_lower,
    clamp(mean_upper, -most, most) AS mean_upper,
    p,
    spread,
    spread_lower,
    spread_upper,
    spread * spread AS tau_squared,
    p_alike,
    clamp(new_lower, -most, most) AS new_lower,
    clamp(new_upper, -most, most) AS new_upper,
    without_lowest,
    without_highest
FROM numbered
WHERE number = 1 AND spread IS NOT NULL
ORDER BY measure_order, position, against_position
