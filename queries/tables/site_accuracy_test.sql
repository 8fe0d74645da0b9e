-- title = "Do sites read differently?"
-- row = "one measure"
-- section = "compare"
-- order = 5
-- note = "All sites at once, of the percent. Mixed model: site fixed, wearer and sensor random, each site with its own variance. The p by permutation shuffles sites among the sensors of a wearer; below ten sensors a site it is the one to read, beside the smallest that these data could give; where sensors scatter more at one site than at another, read the larger of the two p."
-- [columns]
-- measure = { label = "Measure", class = "category" }
-- sensors = { label = "Sensors", class = "count" }
-- f = { label = "F", digits = 2, class = "estimate" }
-- df = { label = "Degrees of freedom", digits = 0, class = "estimate" }
-- df_error = { label = "of the error", digits = 1, class = "estimate" }
-- p = { label = "p", digits = 4, class = "p" }
-- p_permutation = { label = "p by permutation", digits = 4, class = "p" }
-- smallest_p = { label = "smallest possible", digits = 4, class = "p" }
-- refused = { label = "Refused because", class = "category" }
WITH tests AS (
    SELECT
        measure,
        COUNT(*) AS sensors,
        site_test(pairs, percent_mean, percent_squares, position, wearer, 'site_accuracy_test ' || measure) AS test
    FROM sensor_errors
    GROUP BY measure
)
SELECT
    measure,
    sensors,
    get_field(test, 'f') AS f,
    get_field(test, 'df') AS df,
    get_field(test, 'df_error') AS df_error,
    get_field(test, 'p') AS p,
    get_field(test, 'p_permutation') AS p_permutation,
    get_field(test, 'smallest_p') AS smallest_p,
    CASE get_field(test, 'refusal')
        WHEN 2 THEN 'too few sensors'
        WHEN 3 THEN 'sites cannot be told apart'
    END AS refused
FROM tests
WHERE get_field(test, 'refusal') <> 1
ORDER BY measure DESC
