-- title = "What moved since last month"
-- row = "one site and one measure"
-- section = "changes"
-- order = 1
-- note = "This month against everything before it. Each month has an interval in which sensors may differ (exact ones where they are wider); that of the difference is made from both. A sensor worn across the turn of the month counts on both sides, which makes intervals too wide rather than too narrow. More than chance: beyond zero also when allowing for the number of differences in this table; else it may be chance. Night artefacts that a fingerstick refuted are left out. Other people wore it: the difference changes sign or halves where each person's month is set beside that person's months before."
-- show = 80
-- [columns]
-- site = { label = "Site", class = "site" }
-- measure = { label = "Measure", class = "category" }
-- unit = { label = "in", class = "category" }
-- now = { label = "All months", digits = 1, class = "estimate" }
-- before = { label = "Before this month", digits = 1, class = "estimate" }
-- this_month = { label = "This month", digits = 1, class = "estimate" }
-- sensors_before = { label = "Sensors before", class = "count" }
-- sensors_this_month = { label = "this month", class = "count" }
-- difference = { label = "This month minus before", digits = 1, class = "estimate" }
-- difference_lower = { digits = 1, class = "lower" }
-- difference_upper = { digits = 1, class = "upper" }
-- finding = { label = "Finding", class = "category" }

-- The interval of a difference from the limits of its two sides: Zou and Donner 2008 Stat Med 27:1693, from memory.
-- The allowance for many differences widens it by the ratio of Student's quantiles (Bonferroni), with the degrees of
-- freedom of the smaller side.
WITH periods AS (
    SELECT 'before' AS period FROM settings
    UNION ALL
    SELECT 'month' AS period FROM settings
    UNION ALL
    SELECT 'all' AS period FROM settings
),
stretches AS (
    SELECT
        s.site,
        s.order_of_wear || ' ' || s.wearer AS sensor,
        s.wearer,
        p.period,
        s.detached,
        s.inserted,
        CASE WHEN p.period = 'month' THEN GREATEST(s.inserted, t.month_start) ELSE s.inserted END AS since,
        LEAST(
            s.seen_until,
            plus_hours(s.inserted, 24 * s.rated_days),
            CASE WHEN p.period = 'before' THEN t.month_start ELSE s.seen_until END
        ) AS until,
        s.seen_until
    FROM sessions AS s
    CROSS JOIN settings AS t
    CROSS JOIN periods AS p
),
wear AS (
    SELECT
        site,
        period,
        sensor,
        wearer,
        days_between(since, until) AS days,
        CASE WHEN detached = 1 AND until = seen_until AND since < until THEN 1 ELSE 0 END AS came_off
    FROM stretches
    WHERE until > since
),
detachments AS (
    SELECT
        site,
        period,
        COUNT(*) AS sensors,
        100.0 * SUM(came_off) / SUM(days) AS value,
        100.0 * exact_poisson_lower(SUM(came_off)) / SUM(days) AS lower,
        100.0 * exact_poisson_upper(SUM(came_off)) / SUM(days) AS upper
    FROM wear
    GROUP BY site, period
),
pairs_of AS (
    SELECT g.*, p.period
    FROM periods AS p
    CROSS JOIN settings AS t
    CROSS JOIN pair_agreement AS g
    WHERE
        p.period = 'all'
        OR (p.period = 'month') = (g.fingerstick_time > t.month_start)
),
biases AS (
    SELECT
        site,
        period,
        COUNT(DISTINCT sensor_no) AS sensors,
        random_intercept(100 * relative_difference, sensor_no) AS fit
    FROM pairs_of
    GROUP BY site, period
),
pairs_by_sensor AS (
    SELECT
        site,
        period,
        wearer,
        sensor_no,
        COUNT(*) AS pairs,
        CAST(SUM(in_20_20) AS BIGINT) AS within,
        SUM(relative_difference) AS differences
    FROM pairs_of
    GROUP BY site, period, wearer, sensor_no
),
shares AS (
    SELECT
        site,
        period,
        COUNT(*) AS sensors,
        sensor_ratio(within, pairs) AS ratio,
        exact_share_lower(SUM(within), SUM(pairs)) AS exact_lower,
        exact_share_upper(SUM(within), SUM(pairs)) AS exact_upper
    FROM pairs_by_sensor
    GROUP BY site, period
),
nights_of AS (
    SELECT n.site, n.wearer, n.sensor_no, n.night, p.period
    FROM periods AS p
    CROSS JOIN settings AS t
    CROSS JOIN sensor_nights AS n
    WHERE
        n.counted = 1
        AND (p.period = 'all' OR (p.period = 'month') = (n.night_end > t.month_start))
),
found AS (
    SELECT sensor_no, night, COUNT(*) AS artefacts
    FROM night_artefacts
    WHERE counted = 1 AND evidence <> 'refuted'
    GROUP BY sensor_no, night
),
sensor_rates AS (
    SELECT n.site, n.period, n.wearer, n.sensor_no, COUNT(*) AS nights, CAST(COALESCE(SUM(f.artefacts), 0) AS BIGINT) AS artefacts
    FROM nights_of AS n
    LEFT JOIN found AS f ON f.sensor_no = n.sensor_no AND f.night = n.night
    GROUP BY n.site, n.period, n.wearer, n.sensor_no
),
rates AS (
    SELECT
        site,
        period,
        COUNT(*) AS sensors,
        sensor_ratio(artefacts, nights) AS ratio,
        exact_poisson_lower(SUM(artefacts)) / SUM(nights) AS exact_lower,
        exact_poisson_upper(SUM(artefacts)) / SUM(nights) AS exact_upper
    FROM sensor_rates
    GROUP BY site, period
),
measures AS (
    SELECT site, 2 AS place, period, sensors, value, lower, upper
    FROM detachments
    UNION ALL
    SELECT
        site,
        3 AS place,
        period,
        sensors,
        get_field(fit, 'mean') AS value,
        get_field(fit, 'lower') AS lower,
        get_field(fit, 'upper') AS upper
    FROM biases
    UNION ALL
    SELECT
        site,
        4 AS place,
        period,
        sensors,
        100 * get_field(ratio, 'value') AS value,
        100 * clamp(LEAST(exact_lower, get_field(ratio, 'lower')), 0, 1) AS lower,
        100 * clamp(GREATEST(exact_upper, get_field(ratio, 'upper')), 0, 1) AS upper
    FROM shares
    UNION ALL
    SELECT
        site,
        5 AS place,
        period,
        sensors,
        100 * get_field(ratio, 'value') AS value,
        100 * clamp(LEAST(exact_lower, get_field(ratio, 'lower')), 0, CAST(NULL AS DOUBLE)) AS lower,
        100 * GREATEST(exact_upper, get_field(ratio, 'upper')) AS upper
    FROM rates
),
sides AS (
    SELECT
        site,
        place,
        MAX(CASE WHEN period = 'all' THEN value END) AS now,
        MAX(CASE WHEN period = 'before' THEN value END) AS before,
        MAX(CASE WHEN period = 'before' AND sensors > 2 THEN lower END) AS before_lower,
        MAX(CASE WHEN period = 'before' AND sensors > 2 THEN upper END) AS before_upper,
        MAX(CASE WHEN period = 'before' THEN sensors END) AS sensors_before,
        MAX(CASE WHEN period = 'month' THEN value END) AS this_month,
        MAX(CASE WHEN period = 'month' AND sensors > 2 THEN lower END) AS month_lower,
        MAX(CASE WHEN period = 'month' AND sensors > 2 THEN upper END) AS month_upper,
        MAX(CASE WHEN period = 'month' THEN sensors END) AS sensors_this_month
    FROM measures
    GROUP BY site, place
),
differences AS (
    SELECT
        *,
        this_month - before AS difference,
        SQRT(POWER(this_month - month_lower, 2) + POWER(before_upper - before, 2)) AS below,
        SQRT(POWER(month_upper - this_month, 2) + POWER(before - before_lower, 2)) AS above
    FROM sides
),
many AS (
    SELECT COUNT(below) AS differences FROM differences
),
widened AS (
    SELECT
        d.*,
        student_t(1 - 0.025 / GREATEST(m.differences, 1), LEAST(d.sensors_before, d.sensors_this_month) - 1.0)
            / student_t(0.975, LEAST(d.sensors_before, d.sensors_this_month) - 1.0) AS allowance
    FROM differences AS d
    CROSS JOIN many AS m
),
-- What a person has before and in the month: how much, and of how much.
amounts AS (
    SELECT site, 2 AS place, period, wearer, came_off AS found, days AS base
    FROM wear
    UNION ALL
    SELECT site, 3 AS place, period, wearer, differences AS found, pairs AS base
    FROM pairs_by_sensor
    UNION ALL
    SELECT site, 4 AS place, period, wearer, within AS found, pairs AS base
    FROM pairs_by_sensor
    UNION ALL
    SELECT site, 5 AS place, period, wearer, artefacts AS found, nights AS base
    FROM sensor_rates
),
persons AS (
    SELECT
        site,
        place,
        wearer,
        SUM(CASE WHEN period = 'before' THEN found END) AS found_before,
        SUM(CASE WHEN period = 'before' THEN base END) AS base_before,
        SUM(CASE WHEN period = 'month' THEN found END) AS found_month,
        SUM(CASE WHEN period = 'month' THEN base END) AS base_month
    FROM amounts
    GROUP BY site, place, wearer
),
weighed AS (
    SELECT
        *,
        found_month / base_month - found_before / base_before AS difference,
        base_before * base_month / (base_before + base_month) AS weight
    FROM persons
),
-- The difference within people, each weighted as in a comparison of two means; nothing where nobody has both.
within_people AS (
    SELECT
        site,
        place,
        COUNT(*) AS people,
        100 * SUM(weight * difference) / SUM(weight) AS difference
    FROM weighed
    GROUP BY site, place
),
counts AS (
    SELECT
        s.site,
        1 AS place,
        COUNT(*) AS now,
        SUM(CASE WHEN s.inserted > t.month_start THEN 0 ELSE 1 END) AS before,
        SUM(CASE WHEN s.inserted > t.month_start THEN 1 ELSE 0 END) AS this_month
    FROM sessions AS s
    CROSS JOIN settings AS t
    GROUP BY s.site
),
rows AS (
    SELECT
        site,
        place,
        CAST(now AS DOUBLE) AS now,
        CAST(before AS DOUBLE) AS before,
        CAST(this_month AS DOUBLE) AS this_month,
        before AS sensors_before,
        this_month AS sensors_this_month,
        CAST(NULL AS DOUBLE) AS difference,
        CAST(NULL AS DOUBLE) AS difference_lower,
        CAST(NULL AS DOUBLE) AS difference_upper,
        CAST(NULL AS VARCHAR) AS finding
    FROM counts
    UNION ALL
    SELECT
        w.site,
        w.place,
        w.now,
        w.before,
        w.this_month,
        w.sensors_before,
        w.sensors_this_month,
        w.difference,
        w.difference - w.below AS difference_lower,
        w.difference + w.above AS difference_upper,
        CASE
            WHEN w.below IS NULL OR w.above IS NULL THEN 'too few sensors'
            WHEN w.difference <= w.allowance * w.below AND w.difference >= -w.allowance * w.above THEN 'may be chance'
            WHEN p.people > 1 AND COALESCE(p.difference / w.difference, 0) < 0.5 THEN 'other people wore it'
            WHEN w.difference > 0 THEN 'up, more than chance'
            ELSE 'down, more than chance'
        END AS finding
    FROM widened AS w
    LEFT JOIN within_people AS p ON p.site = w.site AND p.place = w.place
)
SELECT
    r.site,
    CASE r.place
        WHEN 1 THEN 'sensors worn'
        WHEN 2 THEN 'came off'
        WHEN 3 THEN 'bias'
        WHEN 4 THEN 'within 20/20'
        ELSE 'night artefacts'
    END AS measure,
    CASE r.place
        WHEN 1 THEN 'sensors inserted'
        WHEN 2 THEN 'per 100 days worn'
        WHEN 5 THEN 'per 100 sensor-nights'
        ELSE '%'
    END AS unit,
    r.now,
    r.before,
    r.this_month,
    COALESCE(r.sensors_before, 0) AS sensors_before,
    COALESCE(r.sensors_this_month, 0) AS sensors_this_month,
    r.difference,
    r.difference_lower,
    r.difference_upper,
    r.finding
FROM rows AS r
INNER JOIN sites AS s ON s.site = r.site
ORDER BY s.position, r.place
