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
WITH tests AS (
    SELECT log_rank(day, event, site, wearer, block, 'site_wear_test') AS result
    FROM lives
)
SELECT
    'log-rank' AS test,
    get_field(result, 'chi_square') AS chi_square,
    CAST(get_field(result, 'df') AS BIGINT) AS df,
    get_field(result, 'p') AS p,
    get_field(result, 'p_permutation') AS p_permutation,
    get_field(result, 'smallest_p') AS smallest_p
FROM tests
WHERE result IS NOT NULL
ORDER BY test
