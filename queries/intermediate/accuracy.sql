-- title = "Agreement with fingersticks, by site and period"
-- row = "one site and period of wear"
-- role = "view"
-- [columns]
-- site = { class = "site" }
-- period = { class = "category" }
-- sensors = { class = "count" }
-- pairs = { class = "count" }
-- bias = { class = "estimate" }
-- bias_lower = { class = "lower" }
-- bias_upper = { class = "upper" }
-- bias_df = { class = "estimate" }
-- bias_percent = { class = "estimate" }
-- bias_percent_lower = { class = "lower" }
-- bias_percent_upper = { class = "upper" }
-- sd_between = { class = "estimate" }
-- sd_within = { class = "estimate" }
-- loa_lower = { class = "lower" }
-- loa_upper = { class = "upper" }
-- loa_percent_lower = { class = "lower" }
-- loa_percent_upper = { class = "upper" }
-- mard = { class = "estimate" }
-- mard_lower = { class = "lower" }
-- mard_upper = { class = "upper" }
-- median_ard = { class = "estimate" }
-- median_ard_lower = { class = "lower" }
-- median_ard_upper = { class = "upper" }
-- within_15_15 = { class = "share" }
-- within_20_20 = { class = "share" }
-- within_40_40 = { class = "share" }
-- within_20_percent = { class = "share" }
-- zone_a = { class = "share" }
-- zone_b = { class = "share" }
-- zone_c = { class = "share" }
-- zone_d = { class = "share" }
-- zone_e = { class = "share" }
-- within_20_20_lower = { class = "lower" }
-- within_20_20_upper = { class = "upper" }
-- position = { class = "category", type = "integer" }
WITH judged AS (
    SELECT *, error_grid_zone(reading, fingerstick) AS zone
    FROM pair_agreement
),
periods AS (
    SELECT *, 'all' AS period FROM judged
    UNION ALL
    SELECT *, CASE WHEN below(wear_days, 1) THEN 'first-day' ELSE 'later' END AS period FROM judged
),
figures AS (
    SELECT
        site,
        period,
        COUNT(DISTINCT sensor_no) AS sensors,
        COUNT(*) AS pairs,
        random_intercept(difference, sensor_no) AS absolute,
        random_intercept(100 * relative_difference, sensor_no) AS percent,
        AVG(ard) AS mard,
        sensor_bootstrap(ard, sensor_no, 'accuracy/mard/' || site || '/' || period) AS mard_range,
        MEDIAN(ard) AS median_ard,
        sensor_bootstrap_median(ard, sensor_no, 'accuracy/median/' || site || '/' || period) AS median_range,
        AVG(in_15_15) AS within_15_15,
        AVG(in_20_20) AS within_20_20,
        sensor_bootstrap(in_20_20, sensor_no, 'accuracy/20/' || site || '/' || period) AS within_range,
        AVG(in_40_40) AS within_40_40,
        AVG(in_20_percent) AS within_20_percent,
        AVG(CASE WHEN zone = 'A' THEN 1.0 ELSE 0.0 END) AS zone_a,
        AVG(CASE WHEN zone = 'B' THEN 1.0 ELSE 0.0 END) AS zone_b,
        AVG(CASE WHEN zone = 'C' THEN 1.0 ELSE 0.0 END) AS zone_c,
        AVG(CASE WHEN zone = 'D' THEN 1.0 ELSE 0.0 END) AS zone_d,
        AVG(CASE WHEN zone = 'E' THEN 1.0 ELSE 0.0 END) AS zone_e
    FROM periods
    GROUP BY site, period
)
SELECT
    f.site,
    f.period,
    f.sensors,
    f.pairs,
    get_field(f.absolute, 'mean') AS bias,
    get_field(f.absolute, 'lower') AS bias_lower,
    get_field(f.absolute, 'upper') AS bias_upper,
    get_field(f.absolute, 'df') AS bias_df,
    get_field(f.percent, 'mean') AS bias_percent,
    get_field(f.percent, 'lower') AS bias_percent_lower,
    get_field(f.percent, 'upper') AS bias_percent_upper,
    get_field(f.absolute, 'sd_between') AS sd_between,
    get_field(f.absolute, 'sd_within') AS sd_within,
    get_field(f.absolute, 'loa_lower') AS loa_lower,
    get_field(f.absolute, 'loa_upper') AS loa_upper,
    get_field(f.percent, 'loa_lower') AS loa_percent_lower,
    get_field(f.percent, 'loa_upper') AS loa_percent_upper,
    f.mard,
    get_field(f.mard_range, 'lower') AS mard_lower,
    get_field(f.mard_range, 'upper') AS mard_upper,
    f.median_ard,
    get_field(f.median_range, 'lower') AS median_ard_lower,
    get_field(f.median_range, 'upper') AS median_ard_upper,
    f.within_15_15,
    f.within_20_20,
    f.within_40_40,
    f.within_20_percent,
    f.zone_a,
    f.zone_b,
    f.zone_c,
    f.zone_d,
    f.zone_e,
    get_field(f.within_range, 'lower') AS within_20_20_lower,
    get_field(f.within_range, 'upper') AS within_20_20_upper,
    s.position
FROM figures AS f
INNER JOIN sites AS s ON s.site = f.site
ORDER BY f.period, s.position
