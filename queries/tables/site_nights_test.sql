-- title = "Do night artefact rates differ between sites?"
-- row = "one test"
-- section = "nights"
-- order = 2
-- note = "The p shuffles sites among the sensors of each wearer; it is empty where no wearer wore two sites."
-- [columns]
-- test = { label = "Test", class = "category" }
-- statistic = { label = "Chi-square", digits = 2, class = "estimate" }
-- p_permutation = { label = "p by permutation", digits = 3, class = "p" }
WITH found AS (
    SELECT sensor_no, COUNT(*) AS artefacts
    FROM night_artefacts
    WHERE counted = 1 AND evidence <> 'refuted'
    GROUP BY sensor_no
),
units AS (
    SELECT n.wearer, n.site, n.sensor_no, COUNT(*) AS nights
    FROM compared_nights AS n
    WHERE n.counted = 1
    GROUP BY n.wearer, n.site, n.sensor_no
),
test AS (
    SELECT rate_test(COALESCE(f.artefacts, 0), u.nights, u.site, u.wearer, 'site_nights_test') AS result
    FROM units AS u
    LEFT JOIN found AS f ON f.sensor_no = u.sensor_no
)
SELECT
    'rates of night artefacts' AS test,
    get_field(result, 'statistic') AS statistic,
    get_field(result, 'p_permutation') AS p_permutation
FROM test
WHERE result IS NOT NULL
ORDER BY test
