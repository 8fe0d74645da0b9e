-- title = "Does the arm read truer than the buttock in the same person?"
-- row = "one person who wore both, or all of them"
-- section = "compare"
-- order = 50
-- note = "Mean absolute relative difference on the back of the upper arm less that on the upper buttock, percentage points. Below zero the arm reads truer."
-- chart = { kind = "intervals", x = "difference", y = "person", lower = "difference_lower", upper = "difference_upper" }
-- [columns]
-- person = { label = "Person", class = "wearer" }
-- difference = { label = "Arm less buttock, points", digits = 1, class = "estimate" }
-- difference_lower = { digits = 1, class = "lower" }
-- difference_upper = { digits = 1, class = "upper" }
-- weight = { label = "Weight", unit = "share", digits = 0, class = "share" }
WITH of_sensor AS (
    SELECT
        DENSE_RANK() OVER (ORDER BY wearer) AS person_no,
        wearer,
        CASE WHEN site = 'upper-arm-back' THEN 1 ELSE 0 END AS arm,
        100 * mean_ard AS error
    FROM (
        SELECT wearer, site, sensor_no, AVG(ABS(relative_difference)) AS mean_ard
        FROM compared_pairs
        WHERE site IN ('upper-arm-back', 'upper-buttock')
        GROUP BY wearer, site, sensor_no
    ) AS sensors
),
list AS (
    SELECT UNNEST(within_people_means(person_no, arm, error)) AS found
    FROM of_sensor
),
people AS (
    SELECT DISTINCT w.wearer AS person, l.found
    FROM list AS l
    INNER JOIN of_sensor AS w ON w.person_no = CAST(get_field(l.found, 'person') AS BIGINT)
),
all_rows AS (
    SELECT
        1 AS part,
        person,
        get_field(found, 'difference') AS difference,
        get_field(found, 'lower') AS difference_lower,
        get_field(found, 'upper') AS difference_upper,
        get_field(found, 'weight') AS weight
    FROM people
    UNION ALL
    SELECT DISTINCT
        2 AS part,
        'all' AS person,
        get_field(found, 'mean') AS difference,
        get_field(found, 'mean_lower') AS difference_lower,
        get_field(found, 'mean_upper') AS difference_upper,
        1.0 AS weight
    FROM people
)
SELECT person, difference, difference_lower, difference_upper, weight
FROM all_rows
ORDER BY part, person
