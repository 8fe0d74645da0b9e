-- title = "Agreement by day of wear"
-- row = "one site on one day of wear"
-- section = "accuracy"
-- order = 13
-- note = "Day 1 is the first 24 hours after insertion. Late days hold only the sensors that stayed on so long. Intervals from three sensors on."
-- chart = { kind = "line", x = "wear_day", y = "bias_percent", lower = "bias_percent_lower", upper = "bias_percent_upper", series = "site" }
-- [columns]
-- site = { label = "Site", class = "site" }
-- wear_day = { label = "Day of wear", digits = 0, class = "estimate" }
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
    place AS wear_day,
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
WHERE grouping = 'wear day'
ORDER BY position, place
