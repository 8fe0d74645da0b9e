-- title = "The first day beside later ones"
-- row = "one site and period of wear"
-- section = "accuracy"
-- order = 3
-- note = "First day: the reading is less than 24 hours after insertion. 20/20: within {20 mg/dL} of a fingerstick below {100 mg/dL}, within 20 % from there on."
-- [columns]
-- site = { label = "Site", class = "site" }
-- period = { label = "Period", class = "category" }
-- sensors = { label = "Sensors", class = "count" }
-- pairs = { label = "Pairs", class = "count" }
-- bias = { label = "Bias", unit = "mg/dL", digits = 1, class = "estimate" }
-- bias_lower = { unit = "mg/dL", digits = 1, class = "lower" }
-- bias_upper = { unit = "mg/dL", digits = 1, class = "upper" }
-- bias_df = { label = "its degrees of freedom", digits = 1, hidden = true, class = "estimate" }
-- bias_percent = { label = "Bias", unit = "%", digits = 1, class = "estimate" }
-- bias_percent_lower = { unit = "%", digits = 1, class = "lower" }
-- bias_percent_upper = { unit = "%", digits = 1, class = "upper" }
-- sd_between = { hidden = true, class = "estimate" }
-- sd_within = { hidden = true, class = "estimate" }
-- loa_lower = { hidden = true, class = "lower" }
-- loa_upper = { hidden = true, class = "upper" }
-- mard = { label = "Mean absolute relative difference", unit = "share", digits = 1, class = "estimate" }
-- mard_lower = { unit = "share", digits = 1, class = "lower" }
-- mard_upper = { unit = "share", digits = 1, class = "upper" }
-- median_ard = { hidden = true, class = "estimate" }
-- within_15_15 = { hidden = true, class = "share" }
-- within_20_20 = { label = "Within 20/20", unit = "share", digits = 0, class = "share" }
-- within_20_20_lower = { unit = "share", digits = 0, class = "lower" }
-- within_20_20_upper = { unit = "share", digits = 0, class = "upper" }
-- within_40_40 = { hidden = true, class = "share" }
-- within_20_percent = { hidden = true, class = "share" }
-- zone_a = { hidden = true, class = "share" }
-- zone_b = { hidden = true, class = "share" }
-- zone_c = { hidden = true, class = "share" }
-- zone_d = { hidden = true, class = "share" }
-- zone_e = { hidden = true, class = "share" }
SELECT
    site,
    period,
    sensors,
    pairs,
    bias,
    bias_lower,
    bias_upper,
    bias_df,
    bias_percent,
    bias_percent_lower,
    bias_percent_upper,
    sd_between,
    sd_within,
    loa_lower,
    loa_upper,
    mard,
    mard_lower,
    mard_upper,
    median_ard,
    within_15_15,
    within_20_20,
    within_40_40,
    within_20_percent,
    zone_a,
    zone_b,
    zone_c,
    zone_d,
    zone_e,
    within_20_20_lower,
    within_20_20_upper
FROM accuracy
WHERE period <> 'all'
ORDER BY position, period
