-- title = "Median day of detachment"
-- row = "one site whose curve reaches one half"
-- role = "intermediate"

-- Where the curve is flat at exactly one half, the middle of the flat stretch.
WITH curves AS (
    SELECT site, day, survival, events
    FROM survival_steps
    WHERE kind = 'detached'
),
marks AS (
    SELECT
        site,
        MIN(CASE WHEN survival <= 0.5 * (1 + 1e-9) THEN day END) AS first_at_half,
        MIN(CASE WHEN survival < 0.5 * (1 - 1e-9) THEN day END) AS first_below,
        MAX(day) AS last_day
    FROM curves
    GROUP BY site
)
SELECT
    site,
    CASE
        WHEN first_below = first_at_half THEN first_at_half
        ELSE (first_at_half + COALESCE(first_below, last_day)) / 2
    END AS median_days
FROM marks
WHERE first_at_half IS NOT NULL
ORDER BY site
