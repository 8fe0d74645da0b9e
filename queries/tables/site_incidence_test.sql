-- title = "Do sites differ in how sensors end?"
-- row = "one ending"
-- section = "compare"
-- order = 3
-- note = "Gray's test of the share that has ended in this way, other endings competing; wearers are strata. With a handful of sensors it is not to be relied on."
-- [columns]
-- cause = { label = "Ending", class = "category" }
-- sensors = { label = "Sensors", class = "count" }
-- ended = { label = "ended so", class = "count" }
-- chi_square = { label = "Chi-square", digits = 2, class = "estimate" }
-- df = { label = "Degrees of freedom", class = "estimate" }
-- p = { label = "p", digits = 4, class = "p" }
WITH endings AS (
    SELECT site, wearer, day, CASE WHEN ending = 1 THEN 'detached' WHEN ending = 2 THEN cause END AS cause
    FROM lives
),
causes AS (
    SELECT DISTINCT cause FROM endings WHERE cause IS NOT NULL
),
tests AS (
    SELECT
        c.cause,
        COUNT(*) AS sensors,
        SUM(CASE WHEN e.cause = c.cause THEN 1 ELSE 0 END) AS ended,
        gray_test(
            e.day, CASE WHEN e.cause IS NULL THEN 0 WHEN e.cause = c.cause THEN 1 ELSE 2 END, e.site, e.wearer
        ) AS test
    FROM causes AS c
    CROSS JOIN endings AS e
    GROUP BY c.cause
)
SELECT
    cause,
    sensors,
    ended,
    get_field(test, 'chi_square') AS chi_square,
    CAST(get_field(test, 'df') AS BIGINT) AS df,
    get_field(test, 'p') AS p
FROM tests
WHERE test IS NOT NULL
ORDER BY cause
