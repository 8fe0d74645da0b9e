-- title = "Evidence on how sensors read, at every look"
-- row = "one pair of sites and one measure at one instant at which a report may have been read"
-- role = "step"
WITH first_worn AS (
    SELECT site_a, site_b, position_a, position_b, measure, MIN(inserted) AS first_insert
    FROM site_pair_errors
    GROUP BY site_a, site_b, position_a, position_b, measure
),
-- The month of a pair: ends of months since its first sensor. A look within a month belongs to that month.
months AS (
    SELECT
        p.*,
        k.look,
        k.regular,
        1 + COALESCE(SUM(CASE WHEN k.regular THEN 1 ELSE 0 END) OVER (
            PARTITION BY p.site_a, p.site_b, p.measure
            ORDER BY k.look ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
        ), 0) AS month
    FROM first_worn AS p
    CROSS JOIN looks AS k
    WHERE k.look > p.first_insert
),
-- Sensors that were over at that instant.
known AS (
    SELECT m.look, m.regular, m.month, t.*
    FROM months AS m
    INNER JOIN site_pair_errors AS t ON t.site_a = m.site_a AND t.site_b = m.site_b AND t.measure = m.measure
    WHERE t.over_from <= m.look
),
looked AS (
    SELECT
        site_a,
        site_b,
        position_a,
        position_b,
        measure,
        look,
        regular,
        month,
        mean_evidence(
            percent_mean, in_b, block, month,
            'site_accuracy_evidence ' || site_a || ' ' || site_b || ' ' || measure || ' ' || month
        ) AS step
    FROM known
    GROUP BY site_a, site_b, position_a, position_b, measure, look, regular, month
)
SELECT
    look,
    regular,
    CAST(month AS BIGINT) AS month,
    measure,
    site_a,
    site_b,
    position_a,
    position_b,
    get_field(step, 'safe_log_e') AS safe_log_e,
    get_field(step, 'payoff') AS payoff,
    get_field(step, 'p') AS p
FROM looked
ORDER BY position_a, position_b, measure, look
