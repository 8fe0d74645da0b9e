-- title = "Does tape help on the thigh, within wearers?"
-- row = "all sensors worn on the upper thigh whose tape was noted"
-- section = "wear"
-- order = 50
-- note = "The hazard ratio is that of a sensor with tape to one without, wearers as strata: below 1, tape helps. Wearers who wore only one of the two there tell nothing."
-- [columns]
-- wearers = { label = "Wearers of both", class = "count" }
-- with_tape = { label = "Sensors with tape", class = "count" }
-- came_off_with = { label = "came off", class = "count" }
-- without_tape = { label = "Sensors without", class = "count" }
-- came_off_without = { label = "came off", class = "count" }
-- hazard_ratio = { label = "Hazard ratio", digits = 2, class = "estimate" }
-- hazard_ratio_lower = { digits = 2, class = "lower" }
-- hazard_ratio_upper = { digits = 2, class = "upper" }
-- p = { label = "p", digits = 3, class = "p" }
WITH thigh AS (
    SELECT wearer, day, event, CASE WHEN tape = 'none' THEN 0 ELSE 1 END AS taped
    FROM lives
    WHERE site = 'upper-thigh' AND tape <> 'not logged'
),
of_wearer AS (
    SELECT wearer, MIN(taped) AS least, MAX(taped) AS most
    FROM thigh
    GROUP BY wearer
),
fit AS (
    SELECT
        SUM(taped) AS with_tape,
        SUM(taped * event) AS came_off_with,
        SUM(1 - taped) AS without_tape,
        SUM((1 - taped) * event) AS came_off_without,
        hazard_ratio(day, event, taped, wearer) AS ratio
    FROM thigh
)
SELECT
    (SELECT COUNT(*) FROM of_wearer WHERE least < most) AS wearers,
    with_tape,
    came_off_with,
    without_tape,
    came_off_without,
    get_field(ratio, 'hazard_ratio') AS hazard_ratio,
    get_field(ratio, 'lower') AS hazard_ratio_lower,
    get_field(ratio, 'upper') AS hazard_ratio_upper,
    get_field(ratio, 'p') AS p
FROM fit
ORDER BY with_tape
