-- title = "Evidence on how long sensors stay on, month by month"
-- row = "one pair of sites at the end of one month"
-- section = "compare"
-- order = 4
-- show = 60
-- note = "You may look every month and stop when you like: without a difference the evidence reaches 20 in at most one study of twenty, over all months together. It is the capital of a bet against \"no difference\": a fifth on the likelihood of a hazard ratio of 2 (in either direction), the rest on permutation tests at months 3, 6, 12, 24, 48 and 96 of the pair, which pay 20."
-- [columns]
-- look = { label = "Looked at" }
-- month = { label = "Month of the pair" }
-- site_a = { label = "Site" }
-- site_b = { label = "against" }
-- alternative = { label = "Built for" }
-- log_e = { label = "Evidence, natural logarithm", digits = 2 }
-- safe_log_e = { label = "of the likelihood alone", digits = 2 }
-- p = { label = "p by permutation, where due", digits = 4 }
WITH first_worn AS (
    SELECT site_a, site_b, position_a, position_b, MIN(inserted) AS first_insert
    FROM site_pair_lives
    GROUP BY site_a, site_b, position_a, position_b
),
months AS (
    SELECT
        p.*,
        k.look,
        ROW_NUMBER() OVER (PARTITION BY p.site_a, p.site_b ORDER BY k.look) AS month
    FROM first_worn AS p
    CROSS JOIN looks AS k
    WHERE k.regular AND k.look > p.first_insert
),
-- What was known of each sensor at the end of that month.
known AS (
    SELECT
        m.site_a,
        m.site_b,
        m.position_a,
        m.position_b,
        m.look,
        m.month,
        l.site,
        l.wearer,
        l.block,
        LEAST(days_between(l.inserted, CASE WHEN l.seen_until < m.look THEN l.seen_until ELSE m.look END), l.rated_days) AS day,
        CASE WHEN l.event = 1 AND l.seen_until <= m.look THEN 1 ELSE 0 END AS event
    FROM months AS m
    INNER JOIN site_pair_lives AS l ON l.site_a = m.site_a AND l.site_b = m.site_b
    WHERE l.inserted <= m.look
),
steps AS (
    SELECT
        site_a,
        site_b,
        position_a,
        position_b,
        look,
        month,
        log_rank_evidence(
            day, event, site, wearer, block, month, 'site_wear_evidence ' || site_a || ' ' || site_b || ' ' || month
        ) AS step
    FROM known
    GROUP BY site_a, site_b, position_a, position_b, look, month
)
SELECT
    look,
    CAST(month AS BIGINT) AS month,
    site_a,
    site_b,
    'hazard ratio 2' AS alternative,
    LN(0.2 * EXP(get_field(step, 'safe_log_e')) + SUM(get_field(step, 'payoff')) OVER (
        PARTITION BY site_a, site_b ORDER BY month ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW
    )) AS log_e,
    get_field(step, 'safe_log_e') AS safe_log_e,
    get_field(step, 'p') AS p
FROM steps
ORDER BY position_a, position_b, month
