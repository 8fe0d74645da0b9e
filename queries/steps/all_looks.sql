-- title = "Evidence between sites, at every look"
-- row = "one pair of sites and one measure at one instant at which a report may have been read"
-- role = "view"
SELECT look, 'stays on' AS measure, 1 AS place, site_a, site_b, position_a, position_b, 'hazard ratio 2' AS alternative, log_e
FROM wear_evidence
UNION ALL
SELECT
    look,
    CASE measure WHEN 'bias' THEN 'reads high or low' ELSE 'reads closely' END AS measure,
    CASE measure WHEN 'bias' THEN 2 ELSE 3 END AS place,
    site_a,
    site_b,
    position_a,
    position_b,
    '5 % of glucose' AS alternative,
    log_e
FROM accuracy_looks
UNION ALL
SELECT look, 'quiet at night' AS measure, 4 AS place, site_a, site_b, position_a, position_b, 'rate ratio 2' AS alternative, log_e
FROM nights_looks
