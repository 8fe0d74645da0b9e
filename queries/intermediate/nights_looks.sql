-- title = "Evidence on night artefacts, at every look"
-- row = "one pair of sites at one instant at which a report may have been read"
-- role = "intermediate"

-- Sensors that were over at that instant.
WITH known AS (
    SELECT m.look, m.regular, m.month, t.*
    FROM pair_looks AS m
    INNER JOIN site_pair_artefacts AS t ON t.site_a = m.site_a AND t.site_b = m.site_b
    WHERE m.measure = 'quiet at night' AND t.role > 0 AND t.over_from <= m.look
),
looked AS (
    SELECT
        site_a,
        site_b,
        position_a,
        position_b,
        look,
        regular,
        month,
        rate_evidence(
            sensor_no, CAST(over_from AS BIGINT), by_night, role - 1, block, month,
            'site_nights_evidence ' || site_a || ' ' || site_b || ' ' || month
        ) AS step
    FROM known
    GROUP BY site_a, site_b, position_a, position_b, look, regular, month
)
SELECT
    look,
    regular,
    month,
    site_a,
    site_b,
    position_a,
    position_b,
    get_field(step, 'log_e_likelihood') AS log_e_likelihood,
    get_field(step, 'payoff') AS payoff,
    get_field(step, 'p') AS p
FROM looked
ORDER BY position_a, position_b, look
