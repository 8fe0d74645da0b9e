-- title = "Agreement with fingersticks, by site"
-- row = "one site"
-- section = "accuracy"
-- order = 2
-- note = "15/15: within {15 mg/dL} of a fingerstick below {100 mg/dL}, within 15 % from there on; 40/40 alike. Zones: consensus error grid, type 1."
-- chart = { kind = "intervals", x = "bias", y = "site", lower = "bias_lower", upper = "bias_upper" }
-- [columns]
-- site = { label = "Site", class = "site" }
-- sensors = { label = "Sensors", class = "count" }
-- pairs = { label = "Pairs", class = "count" }
-- bias = { label = "Bias", unit = "mg/dL", digits = 1, class = "estimate" }
-- bias_lower = { unit = "mg/dL", digits = 1, class = "lower" }
-- bias_upper = { unit = "mg/dL", digits = 1, class = "upper" }
-- bias_df = { label = "its degrees of freedom", digits = 1, hidden = true, class = "estimate" }
-- bias_percent = { label = "Bias", unit = "%", digits = 1, class = "estimate" }
-- bias_percent_lower = { unit = "%", digits = 1, class = "lower" }
-- bias_percent_upper = { unit = "%", digits = 1, class = "upper" }
-- sd_between = { label = "SD between sensors", unit = "mg/dL", digits = 1, class = "estimate" }
-- sd_within = { label = "SD within a sensor", unit = "mg/dL", digits = 1, class = "estimate" }
-- loa_lower = { label = "Limits of agreement from", unit = "mg/dL", digits = 0, class = "lower" }
-- loa_upper = { label = "to", unit = "mg/dL", digits = 0, class = "upper" }
-- loa_percent_lower = { label = "Limits of agreement from", unit = "%", digits = 0, class = "lower" }
-- loa_percent_upper = { label = "to", unit = "%", digits = 0, class = "upper" }
-- mard = { label = "Mean absolute relative difference", unit = "share", digits = 1, class = "estimate" }
-- mard_lower = { unit = "share", digits = 1, class = "lower" }
-- mard_upper = { unit = "share", digits = 1, class = "upper" }
-- median_ard = { label = "Median absolute relative difference", unit = "share", digits = 1, class = "estimate" }
-- median_ard_lower = { unit = "share", digits = 1, class = "lower" }
-- median_ard_upper = { unit = "share", digits = 1, class = "upper" }
-- within_15_15 = { label = "Within 15/15", unit = "share", digits = 0, class = "share" }
-- within_20_20 = { label = "Within 20/20", unit = "share", digits = 0, class = "share" }
-- within_20_20_lower = { unit = "share", digits = 0, class = "lower" }
-- within_20_20_upper = { unit = "share", digits = 0, class = "upper" }
-- within_40_40 = { label = "Within 40/40", unit = "share", digits = 0, class = "share" }
-- within_20_percent = { label = "Within 20 %", unit = "share", digits = 0, class = "share" }
-- zone_a = { label = "Zone A", unit = "share", digits = 1, class = "share" }
-- zone_b = { label = "Zone B", unit = "share", digits = 1, class = "share" }
-- zone_c = { label = "Zone C", unit = "share", digits = 1, class = "share" }
-- zone_d = { label = "Zone D", unit = "share", digits = 1, class = "share" }
-- zone_e = { label = "Zone E", unit = "share", digits = 1, class = "share" }
SELECT
    site,
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
    loa_percent_lower,
    loa_percent_upper,
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
    within_20_20_upper,
    median_ard_lower,
    median_ard_upper
FROM accuracy
WHERE period = 'all'
ORDER BY position
