-- title = "Evidence on how long sensors stay on, at every look"
-- row = "one pair of sites at one instant at which a report may have been read"
-- role = "intermediate"

-- What was known of each sensor at that instant.
WITH known AS (
    SELECT
        m.*,
        l.site,
        l.wearer,
        l.block,
        LEAST(days_between(l.inserted, CASE WHEN l.known_until < m.look THEN l.known_until ELSE m.look END), l.rated_days) AS day,
        CASE WHEN l.event = 1 AND l.seen_until <= m.look THEN 1 ELSE 0 END AS event
    FROM pair_looks AS m
    INNER JOIN site_pair_lives AS l ON l.site_a = m.site_a AND l.site_b = m.site_b
    WHERE m.measure = 'stays on' AND l.inserted <= m.look
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
        log_rank_evidence(
            day, event, site, wearer, block, month, 'site_wear_evidence ' || site_a || ' ' || site_b || ' ' || month
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
