-- title = "Agreement by model and lot"
-- row = "one site, model and lot"
-- section = "accuracy"
-- order = 16
-- note = "Compare lots and models within one site. Intervals from three sensors on."
-- [columns]
-- site = { label = "Site", class = "site" }
-- model = { label = "Model", class = "identifying" }
-- lot = { label = "Lot", class = "identifying" }
-- sensors = { label = "Sensors", class = "count" }
-- pairs = { label = "Pairs", class = "count" }
-- bias = { label = "Bias", unit = "mg/dL", digits = 1, class = "estimate" }
-- bias_lower = { unit = "mg/dL", digits = 1, class = "lower" }
-- bias_upper = { unit = "mg/dL", digits = 1, class = "upper" }
-- bias_percent = { label = "Bias", unit = "%", digits = 1, class = "estimate" }
-- bias_percent_lower = { unit = "%", digits = 1, class = "lower" }
-- bias_percent_upper = { unit = "%", digits = 1, class = "upper" }
-- mard = { label = "Mean absolute relative difference", unit = "share", digits = 1, class = "estimate" }
-- within_15_15 = { label = "Within 15/15", unit = "share", digits = 0, class = "share" }
-- within_20_20 = { label = "Within 20/20", unit = "share", digits = 0, class = "share" }
-- within_40_40 = { label = "Within 40/40", unit = "share", digits = 0, class = "share" }
-- within_20_percent = { label = "Within 20 %", unit = "share", digits = 0, class = "share" }
SELECT
    site,
    name AS model,
    part AS lot,
    sensors,
    pairs,
    bias,
    bias_lower,
    bias_upper,
    bias_percent,
    bias_percent_lower,
    bias_percent_upper,
    mard,
    within_15_15,
    within_20_20,
    within_40_40,
    within_20_percent
FROM group_agreement
WHERE grouping = 'model'
ORDER BY position, name, part
