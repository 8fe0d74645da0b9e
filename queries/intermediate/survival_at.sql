-- title = "Share still attached at day 7, day 10 and the rated day"
-- row = "one site and day asked for"
-- role = "intermediate"

-- Empty past the last follow-up of a site whose curve has not reached zero.
WITH asked AS (
    SELECT '7' AS at, 7.0 AS day FROM settings
    UNION ALL
    SELECT '10' AS at, 10.0 AS day FROM settings
    UNION ALL
    SELECT 'rated' AS at, rated_days AS day FROM settings
),
curves AS (
    SELECT
        site,
        day,
        survival,
        lower,
        upper,
        LEAD(day) OVER (PARTITION BY site ORDER BY day) AS next_day
    FROM survival_steps
    WHERE kind = 'detached'
),
starts AS (
    SELECT site, MIN(day) AS first_day
    FROM curves
    GROUP BY site
)
SELECT
    b.site,
    a.at,
    CASE
        WHEN a.day < b.first_day * (1 - 1e-9) THEN 1.0
        WHEN c.next_day IS NULL AND c.survival > 0 AND a.day > c.day * (1 + 1e-9) THEN NULL
        ELSE c.survival
    END AS survival,
    CASE WHEN c.next_day IS NULL AND c.survival > 0 AND a.day > c.day * (1 + 1e-9) THEN NULL ELSE c.lower END AS lower,
    CASE WHEN c.next_day IS NULL AND c.survival > 0 AND a.day > c.day * (1 + 1e-9) THEN NULL ELSE c.upper END AS upper
FROM starts AS b
CROSS JOIN asked AS a
LEFT JOIN curves AS c
    ON c.site = b.site
    AND c.day * (1 - 1e-9) <= a.day
    AND (c.next_day IS NULL OR a.day < c.next_day * (1 - 1e-9))
ORDER BY b.site, a.at
