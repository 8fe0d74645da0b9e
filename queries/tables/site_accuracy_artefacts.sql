-- title = "Accuracy with and without pairs within night artefacts"
-- row = "one site and set of pairs"
-- section = "nights"
-- order = 9
-- note = "All pairs are the figure to go by. Left out are pairs within any run of readings that looks like a night artefact, whatever the fingerstick said of it: leaving out only the confirmed ones would take off pairs for their own error."
-- [columns]
-- site = { label = "Site", class = "site" }
-- pairs_used = { label = "Pairs used", class = "category" }
-- sensors = { label = "Sensors", class = "count" }
-- pairs = { label = "Pairs", class = "count" }
-- bias = { label = "Bias", unit = "mg/dL", digits = 1, class = "estimate" }
-- bias_lower = { unit = "mg/dL", digits = 1, class = "lower" }
-- bias_upper = { unit = "mg/dL", digits = 1, class = "upper" }
-- mard = { label = "Mean absolute relative difference", unit = "share", digits = 1, class = "estimate" }
-- mard_lower = { unit = "share", digits = 1, class = "lower" }
-- mard_upper = { unit = "share", digits = 1, class = "upper" }
-- within_20_20 = { label = "Within 20/20", unit = "share", digits = 0, class = "share" }
-- within_20_20_lower = { unit = "share", digits = 0, class = "lower" }
-- within_20_20_upper = { unit = "share", digits = 0, class = "upper" }
WITH runs AS (
    SELECT DISTINCT sensor_no, start, "end"
    FROM night_artefacts
),
outside AS (
    SELECT
        p.site,
        p.sensor_no,
        p.difference,
        p.ard,
        p.in_20_20
    FROM pair_agreement AS p
    LEFT JOIN runs AS a
        ON a.sensor_no = p.sensor_no AND p.fingerstick_time >= a.start AND p.fingerstick_time <= a."end"
    WHERE a.sensor_no IS NULL
),
fits AS (
    SELECT
        site,
        COUNT(DISTINCT sensor_no) AS sensors,
        COUNT(*) AS pairs,
        random_intercept(difference, sensor_no) AS fit,
        AVG(ard) AS mard,
        sensor_bootstrap(ard, sensor_no, 'outside artefacts/mard/' || site) AS mard_range,
        AVG(in_20_20) AS within_20_20,
        sensor_bootstrap(in_20_20, sensor_no, 'outside artefacts/20/' || site) AS within_range
    FROM outside
    GROUP BY site
),
both_sets AS (
    SELECT
        site,
        1 AS set_order,
        'all' AS pairs_used,
        sensors,
        pairs,
        bias,
        bias_lower,
        bias_upper,
        mard,
        mard_lower,
        mard_upper,
        within_20_20,
        within_20_20_lower,
        within_20_20_upper
    FROM site_accuracy
    UNION ALL
    SELECT
        site,
        2,
        'outside night artefacts',
        sensors,
        pairs,
        get_field(fit, 'mean'),
        get_field(fit, 'lower'),
        get_field(fit, 'upper'),
        mard,
        get_field(mard_range, 'lower'),
        get_field(mard_range, 'upper'),
        within_20_20,
        get_field(within_range, 'lower'),
        get_field(within_range, 'upper')
    FROM fits
)
SELECT
    b.site,
    b.pairs_used,
    b.sensors,
    b.pairs,
    b.bias,
    b.bias_lower,
    b.bias_upper,
    b.mard,
    b.mard_lower,
    b.mard_upper,
    b.within_20_20,
    b.within_20_20_lower,
    b.within_20_20_upper
FROM both_sets AS b
INNER JOIN sites AS s ON s.site = b.site
ORDER BY s.position, b.set_order
