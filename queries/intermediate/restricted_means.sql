-- title = "Restricted mean times"
-- row = "one site and kind of ending"
-- role = "intermediate"

-- The area under the curve up to the rated wear, the curve carried forward past the last follow-up.
WITH clipped AS (
    SELECT
        k.kind,
        k.site,
        k.day AS own_day,
        LEAST(k.day, t.rated_days) AS day,
        t.rated_days,
        k.survival,
        CASE WHEN k.at_risk > k.events
            THEN CAST(k.events AS DOUBLE) / (CAST(k.at_risk AS DOUBLE) * (k.at_risk - k.events))
            ELSE 0
        END AS hazard_variance
    FROM survival_steps AS k
    CROSS JOIN settings AS t
),
widths AS (
    SELECT
        *,
        day - LAG(day, 1, 0.0) OVER (PARTITION BY kind, site ORDER BY own_day) AS width,
        LAG(survival, 1, 1.0) OVER (PARTITION BY kind, site ORDER BY own_day) AS height,
        COALESCE(LEAD(day) OVER (PARTITION BY kind, site ORDER BY own_day), rated_days) - day AS next_width
    FROM clipped
),
areas AS (
    SELECT
        *,
        SUM(survival * next_width) OVER (
            PARTITION BY kind, site ORDER BY own_day ROWS BETWEEN CURRENT ROW AND UNBOUNDED FOLLOWING
        ) AS area_after,
        ROW_NUMBER() OVER (PARTITION BY kind, site ORDER BY own_day) AS row
    FROM widths
)
SELECT
    kind,
    site,
    SUM(CASE WHEN row = 1 THEN height * width + area_after END) AS rmst_days,
    SQRT(SUM(area_after * area_after * hazard_variance)) AS rmst_se
FROM areas
GROUP BY kind, site
ORDER BY kind, site
