-- title = "How long sensors stay on, by site"
-- row = "one site"
-- section = "wear"
-- order = 2
-- note = "Usable days are the mean time to any ending up to the rated wear; the restricted mean counts detachment only. Empty where follow-up does not reach that day, or the median is not reached."
-- [columns]
-- site = { label = "Site", class = "site" }
-- sessions = { label = "Sensors", class = "count" }
-- detached = { label = "Came off", class = "count" }
-- survival_7 = { label = "Still attached on day 7", unit = "share", digits = 0, class = "share" }
-- survival_7_lower = { unit = "share", digits = 0, class = "lower" }
-- survival_7_upper = { unit = "share", digits = 0, class = "upper" }
-- survival_10 = { label = "on day 10", unit = "share", digits = 0, class = "share" }
-- survival_10_lower = { unit = "share", digits = 0, class = "lower" }
-- survival_10_upper = { unit = "share", digits = 0, class = "upper" }
-- survival_rated = { label = "on the rated day", unit = "share", digits = 0, class = "share" }
-- survival_rated_lower = { unit = "share", digits = 0, class = "lower" }
-- survival_rated_upper = { unit = "share", digits = 0, class = "upper" }
-- median_days = { label = "Median", unit = "days", digits = 1, class = "estimate" }
-- rmst_days = { label = "Restricted mean", unit = "days", digits = 1, class = "estimate" }
-- rmst_se = { label = "its standard error", unit = "days", digits = 2, class = "estimate" }
-- usable_days = { label = "Usable days", unit = "days", digits = 1, class = "estimate" }
-- usable_days_se = { hidden = true, class = "estimate" }
WITH totals AS (
    SELECT
        site,
        COUNT(*) AS sessions,
        SUM(CASE WHEN detached = 1 AND days <= rated_days * (1 + 1e-9) THEN 1 ELSE 0 END) AS detached
    FROM sessions
    GROUP BY site
)
SELECT
    t.site,
    t.sessions,
    t.detached,
    a7.survival AS survival_7,
    a7.lower AS survival_7_lower,
    a7.upper AS survival_7_upper,
    a10.survival AS survival_10,
    a10.lower AS survival_10_lower,
    a10.upper AS survival_10_upper,
    ar.survival AS survival_rated,
    ar.lower AS survival_rated_lower,
    ar.upper AS survival_rated_upper,
    m.median_days,
    r.rmst_days,
    r.rmst_se,
    u.rmst_days AS usable_days,
    u.rmst_se AS usable_days_se
FROM totals AS t
INNER JOIN sites AS s ON s.site = t.site
LEFT JOIN survival_at AS a7 ON a7.site = t.site AND a7.at = '7'
LEFT JOIN survival_at AS a10 ON a10.site = t.site AND a10.at = '10'
LEFT JOIN survival_at AS ar ON ar.site = t.site AND ar.at = 'rated'
LEFT JOIN survival_medians AS m ON m.site = t.site
LEFT JOIN restricted_means AS r ON r.site = t.site AND r.kind = 'detached'
LEFT JOIN restricted_means AS u ON u.site = t.site AND u.kind = 'any ending'
ORDER BY s.position
