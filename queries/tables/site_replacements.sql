-- title = "What a site costs in sensors"
-- row = "one site"
-- section = "wear"
-- order = 6
-- note = "Usable days: mean time to any ending, up to the rated wear. Sensors per 30 days: endings over days worn, for someone who wears this site all the time; the interval lets sensors differ and takes three. Replaced early: ended before the rated day, for whatever cause."
-- chart = { kind = "intervals", x = "per_30_days", y = "site", lower = "per_30_days_lower", upper = "per_30_days_upper" }
-- [columns]
-- site = { label = "Site", class = "site" }
-- sensors = { label = "Sensors", class = "count" }
-- usable_days = { label = "Usable days a sensor", unit = "days", digits = 1, class = "estimate" }
-- usable_days_se = { label = "its standard error", unit = "days", digits = 2, class = "estimate" }
-- ended = { label = "Ended", class = "count" }
-- replaced_early = { label = "of these replaced early", class = "count" }
-- replaced_early_share = { label = "Share replaced early", unit = "share", digits = 0, class = "share" }
-- replaced_early_share_lower = { unit = "share", digits = 0, class = "lower" }
-- replaced_early_share_upper = { unit = "share", digits = 0, class = "upper" }
-- days = { label = "Days worn", digits = 0, class = "estimate" }
-- per_30_days = { label = "Sensors per 30 days", digits = 1, class = "estimate" }
-- per_30_days_lower = { digits = 1, class = "lower" }
-- per_30_days_upper = { digits = 1, class = "upper" }
WITH endings AS (
    SELECT
        site,
        days,
        CASE WHEN ended IS NOT NULL THEN 1 ELSE 0 END AS ended,
        CASE
            WHEN ended IS NOT NULL AND cause <> 'completed' AND below(days, rated_days) THEN 1
            ELSE 0
        END AS early
    FROM sessions
),
totals AS (
    SELECT
        site,
        COUNT(*) AS sensors,
        SUM(ended) AS ended,
        SUM(early) AS replaced_early,
        SUM(days) AS days,
        sensor_ratio(ended, days) AS rate
    FROM endings
    GROUP BY site
)
SELECT
    t.site,
    t.sensors,
    w.usable_days,
    w.usable_days_se,
    t.ended,
    t.replaced_early,
    CAST(t.replaced_early AS DOUBLE) / NULLIF(t.ended, 0) AS replaced_early_share,
    exact_share_lower(t.replaced_early, t.ended) AS replaced_early_share_lower,
    exact_share_upper(t.replaced_early, t.ended) AS replaced_early_share_upper,
    t.days,
    30 * get_field(t.rate, 'value') AS per_30_days,
    clamp(30 * get_field(t.rate, 'lower'), 0, CAST(NULL AS DOUBLE)) AS per_30_days_lower,
    30 * get_field(t.rate, 'upper') AS per_30_days_upper
FROM totals AS t
INNER JOIN sites AS s ON s.site = t.site
LEFT JOIN site_wear AS w ON w.site = t.site
ORDER BY s.position
