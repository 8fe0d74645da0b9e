-- title = "Agreement by glucose"
-- row = "one site and range of the fingerstick"
-- section = "accuracy"
-- order = 11
-- note = "Ranges are those of the fingerstick; both ends belong to the middle one. Sorting by the fingerstick makes sensors look high where it is low and low where it is high, since a part of every difference is the error of the fingerstick itself: compare sites within a range. Intervals from three sensors on."
-- chart = { kind = "intervals", x = "bias_percent", y = "site", lower = "bias_percent_lower", upper = "bias_percent_upper", series = "range" }
-- [columns]
-- site = { label = "Site", class = "site" }
-- range = { label = "Fingerstick", class = "category" }
-- range_from = { label = "from", unit = "mg/dL", digits = 0, class = "estimate" }
-- range_to = { label = "to", unit = "mg/dL", digits = 0, class = "estimate" }
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
    CASE place WHEN 1 THEN 'low' WHEN 2 THEN 'in range' ELSE 'high' END AS range,
    CASE place WHEN 2 THEN 70.0 WHEN 3 THEN 180.0 END AS range_from,
    CASE place WHEN 1 THEN 70.0 WHEN 2 THEN 180.0 END AS range_to,
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
WHERE grouping = 'glucose'
ORDER BY position, place
