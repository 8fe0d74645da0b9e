-- title = "Do sites differ in how long sensors stay on?"
-- row = "one test"
-- section = "wear"
-- order = 3
-- note = "Log-rank, stratified by wearer. The p by permutation shuffles sites among the sessions of a wearer and model, and is the one to read below ten sensors a site; it is empty where no wearer wore two sites."
-- [columns]
-- test = { label = "Test", class = "category" }
-- chi_square = { label = "Chi-square", digits = 2, class = "estimate" }
-- df = { label = "Degrees of freedom", class = "estimate" }
-- p = { label = "p", digits = 4, class = "p" }
-- p_permutation = { label = "p by permutation", digits = 4, class = "p" }
-- smallest_p = { label = "smallest that these data could give", digits = 4, class = "p" }
WITH test AS (
    SELECT
        log_rank(
            LEAST(days, rated_days),
            CASE WHEN detached = 1 AND days <= rated_days * (1 + 1e-9) THEN 1 ELSE 0 END,
            site,
            wearer,
            wearer || ' / ' || COALESCE(model, ''),
            'site_wear_test'
        ) AS result
    FROM sessions
)
SELECT
    'log-rank' AS test,
    get_field(result, 'chi_square') AS chi_square,
    CAST(get_field(result, 'df') AS BIGINT) AS df,
    get_field(result, 'p') AS p,
    get_field(result, 'p_permutation') AS p_permutation,
    get_field(result, 'smallest_p') AS smallest_p
FROM test
WHERE result IS NOT NULL
ORDER BY test
