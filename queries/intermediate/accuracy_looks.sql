-- title = "Evidence on how sensors read, at every look"
-- row = "one pair of sites and one measure at one instant at which a report may have been read"
-- role = "intermediate"

-- Sensors that were over at that instant.
WITH known AS (
    SELECT m.look, m.regular, m.month, t.*
    FROM pair_looks AS m
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
    month,
    measure,
    site_a,
    site_b,
    position_a,
    position_b,
    get_field(step, 'log_e_likelihood') AS log_e_likelihood,
    get_field(step, 'payoff') AS payoff,
    get_field(step, 'p') AS p
FROM looked
ORDER BY position_a, position_b, measure, look
