-- title = "Evidence between sites, at every look"
-- row = "one pair of sites and one measure at one instant at which a report may have been read"
-- role = "intermediate"

-- `log_e` is the logarithm of the capital: a fifth on the likelihood ratio, the rest on permutation tests that pay 20.
WITH every_look AS (
    SELECT
        'stays on' AS measure,
        1 AS place,
        'hazard ratio 2' AS alternative,
        look,
        regular,
        month,
        site_a,
        site_b,
        position_a,
        position_b,
        log_e_likelihood,
        payoff,
        p
    FROM wear_looks
    UNION ALL
    SELECT
        CASE measure WHEN 'bias' THEN 'reads high or low' ELSE 'reads closely' END AS measure,
        CASE measure WHEN 'bias' THEN 2 ELSE 3 END AS place,
        '5 % of glucose' AS alternative,
        look,
        regular,
        month,
        site_a,
        site_b,
        position_a,
        position_b,
        log_e_likelihood,
        payoff,
        p
    FROM accuracy_looks
    UNION ALL
    SELECT
        'quiet at night' AS measure,
        4 AS place,
        'rate ratio 2' AS alternative,
        look,
        regular,
        month,
        site_a,
        site_b,
        position_a,
        position_b,
        log_e_likelihood,
        payoff,
        p
    FROM nights_looks
)
SELECT
    *,
    LN(0.2 * EXP(log_e_likelihood) + payoff + COALESCE(SUM(CASE WHEN regular THEN payoff ELSE 0 END) OVER (
        PARTITION BY place, site_a, site_b ORDER BY look ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
    ), 0)) AS log_e
FROM every_look
ORDER BY place, position_a, position_b, look
