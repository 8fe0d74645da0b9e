-- title = "The first day beside later ones"
-- row = "one site and period of wear"
-- section = "accuracy"
-- order = 3
-- note = "First day: the reading is less than 24 hours after insertion."
-- [columns]
-- site = { label = "Site" }
-- period = { label = "Period" }
-- sensors = { label = "Sensors" }
-- pairs = { label = "Pairs" }
-- bias = { label = "Bias", unit = "mg/dL", digits = 1 }
-- bias_lower = { unit = "mg/dL", digits = 1 }
-- bias_upper = { unit = "mg/dL", digits = 1 }
-- bias_df = { label = "its degrees of freedom", digits = 1, hidden = true }
-- bias_percent = { label = "Bias", unit = "%", digits = 1 }
-- bias_percent_lower = { unit = "%", digits = 1 }
-- bias_percent_upper = { unit = "%", digits = 1 }
-- sd_between = { hidden = true }
-- sd_within = { hidden = true }
-- loa_lower = { hidden = true }
-- loa_upper = { hidden = true }
-- mard = { label = "Mean absolute relative difference", unit = "share", digits = 1 }
-- mard_lower = { unit = "share", digits = 1 }
-- mard_upper = { unit = "share", digits = 1 }
-- median_ard = { hidden = true }
-- within_15_15 = { hidden = true }
-- within_20_20 = { label = "Within 20/20", unit = "share", digits = 0 }
-- within_20_20_lower = { unit = "share", digits = 0 }
-- within_20_20_upper = { unit = "share", digits = 0 }
-- within_40_40 = { hidden = true }
-- within_20_percent = { hidden = true }
-- zone_a = { hidden = true }
-- zone_b = { hidden = true }
-- zone_c = { hidden = true }
-- zone_d = { hidden = true }
-- zone_e = { hidden = true }
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
