-- title = "Agreement by rate of change"
-- row = "one site and class of the sensor's own rate of change"
-- section = "accuracy"
-- order = 12
-- note = "Rate of change of the sensor over the quarter of an hour before the reading; falling and rising begin at {1 mg/dL} a minute, fast at 2 (common practice). Where glucose falls, a sensor that lags reads high, where it rises, low; the noise of a single reading pulls the other way. Pairs without enough readings before them are left out. Intervals from three sensors on."
-- chart = { kind = "intervals", x = "bias", y = "site", lower = "bias_lower", upper = "bias_upper", series = "rate" }
-- [columns]
-- site = { label = "Site", class = "site" }
-- rate = { label = "Sensor", class = "category" }
-- rate_from = { label = "from", unit = "mg/dL/min", digits = 0, class = "estimate" }
-- rate_to = { label = "to", unit = "mg/dL/min", digits = 0, class = "estimate" }
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
    CASE place
        WHEN 1 THEN 'falling fast'
        WHEN 2 THEN 'falling'
        WHEN 3 THEN 'steady'
        WHEN 4 THEN 'rising'
        ELSE 'rising fast'
    END AS rate,
    CASE place WHEN 2 THEN -2.0 WHEN 3 THEN -1.0 WHEN 4 THEN 1.0 WHEN 5 THEN 2.0 END AS rate_from,
    CASE place WHEN 1 THEN -2.0 WHEN 2 THEN -1.0 WHEN 3 THEN 1.0 WHEN 4 THEN 2.0 END AS rate_to,
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
WHERE grouping = 'rate'
ORDER BY position, place
