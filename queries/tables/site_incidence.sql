-- title = "How sensors ended, by day of wear"
-- row = "one day on which sensors of one site ended by one cause"
-- section = "wear"
-- order = 4
-- note = "Aalen-Johansen: the share of all sensors that has ended by this cause. The standard error is by the delta method."
-- chart = { kind = "steps", x = "day", y = "incidence", series = "site" }
-- [columns]
-- site = { label = "Site", class = "site" }
-- cause = { label = "Cause", class = "category" }
-- day = { label = "Day of wear", unit = "days", digits = 2, class = "estimate" }
-- incidence = { label = "Ended by this cause", unit = "share", digits = 1, class = "share" }
-- std_error = { label = "Standard error", unit = "share", digits = 1, class = "estimate" }
WITH endings AS (
    SELECT site, day, CASE ending WHEN 1 THEN 'detached' WHEN 2 THEN cause END AS cause
    FROM lives
),
causes AS (
    SELECT DISTINCT site, cause FROM endings WHERE cause IS NOT NULL
),
curves AS (
    SELECT
        c.site,
        c.cause,
        UNNEST(cumulative_incidence(
            e.day,
            CASE WHEN e.cause IS NULL THEN 0 WHEN e.cause = c.cause THEN 1 ELSE 2 END
        )) AS at
    FROM causes AS c
    INNER JOIN endings AS e ON e.site = c.site
    GROUP BY c.site, c.cause
)
SELECT
    c.site,
    c.cause,
    get_field(c.at, 'day') AS day,
    get_field(c.at, 'incidence') AS incidence,
    get_field(c.at, 'std_error') AS std_error
FROM curves AS c
INNER JOIN sites AS s ON s.site = c.site
ORDER BY s.position, c.cause, day
