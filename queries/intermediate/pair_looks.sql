-- title = "Looks at each pair of sites"
-- row = "one pair of sites and one measure at one instant at which a report may have been read"
-- role = "intermediate"
WITH first_worn AS (
    SELECT 'stays on' AS measure, site_a, site_b, position_a, position_b, MIN(inserted) AS first_insert
    FROM site_pair_lives
    GROUP BY site_a, site_b, position_a, position_b
    UNION ALL
    SELECT measure, site_a, site_b, position_a, position_b, MIN(inserted) AS first_insert
    FROM site_pair_errors
    GROUP BY measure, site_a, site_b, position_a, position_b
    UNION ALL
    SELECT 'quiet at night' AS measure, site_a, site_b, position_a, position_b, MIN(inserted) AS first_insert
    FROM site_pair_artefacts
    WHERE role > 0
    GROUP BY site_a, site_b, position_a, position_b
)
-- The month of a pair: ends of months since its first sensor. A look within a month belongs to that month.
SELECT
    p.measure,
    p.site_a,
    p.site_b,
    p.position_a,
    p.position_b,
    k.look,
    k.regular,
    CAST(1 + COALESCE(SUM(CASE WHEN k.regular THEN 1 ELSE 0 END) OVER (
        PARTITION BY p.measure, p.site_a, p.site_b
        ORDER BY k.look ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
    ), 0) AS BIGINT) AS month
FROM first_worn AS p
CROSS JOIN looks AS k
WHERE k.look > p.first_insert
ORDER BY p.measure, p.position_a, p.position_b, k.look
