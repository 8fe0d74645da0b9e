-- title = "How long sensors stay on, by site"
-- row = "one site"
-- section = "wear"
-- order = 2
-- note = "Shares and the median are empty where follow-up does not reach that day."
-- [columns]
-- site = { label = "Site", class = "site" }
-- sessions = { label = "Sensors", class = "count" }
-- detached = { label = "Came off", class = "count" }
-- survival_7 = { label = "Still attached on day 7", unit = "share", digits = 0, class = "share" }
-- survival_7_lower = { unit = "share", digits = 0, class = "lower" }
-- survival_7_upper = { unit = "share", digits = 0, class = "upper" }
-- survival_10 = { label = "on day 10", unit = "share", digits = 0, class = "share" }
-- survival_10_lower = { unit = "share", digits = 0, class = "lower" }
-- survival_10_upper = { unit = "share", digits = 0, class = "upper" }
-- survival_rated = { label = "on the rated day", unit = "share", digits = 0, class = "share" }
-- survival_rated_lower = { unit = "share", digits = 0, class = "lower" }
-- survival_rated_upper = { unit = "share", digits = 0, class = "upper" }
-- median_days = { label = "Median", unit = "days", digits = 1, class = "estimate" }
-- rmst_days = { label = "Restricted mean", unit = "days", digits = 1, class = "estimate" }
-- rmst_se = { label = "its standard error", unit = "days", digits = 2, class = "estimate" }
-- usable_days = { label = "Usable days", unit = "days", digits = 1, class = "estimate" }
-- usable_days_se = { hidden = true, class = "estimate" }
WITH curves AS (
    SELECT
        l.site,
        COUNT(*) AS sessions,
        SUM(l.event) AS detached,
        survival_at(l.day, l.event, 7.0) AS day_7,
        survival_at(l.day, l.event, 10.0) AS day_10,
        survival_at(l.day, l.event, t.rated_days) AS rated,
        survival_summary(l.day, l.event, t.rated_days) AS attached,
        survival_summary(l.day, l.any_ending, t.rated_days) AS usable
    FROM lives AS l
    CROSS JOIN settings AS t
    GROUP BY l.site
)
SELECT
    c.site,
    c.sessions,
    c.detached,
    get_field(c.day_7, 'survival') AS survival_7,
    get_field(c.day_7, 'lower') AS survival_7_lower,
    get_field(c.day_7, 'upper') AS survival_7_upper,
    get_field(c.day_10, 'survival') AS survival_10,
    get_field(c.day_10, 'lower') AS survival_10_lower,
    get_field(c.day_10, 'upper') AS survival_10_upper,
    get_field(c.rated, 'survival') AS survival_rated,
    get_field(c.rated, 'lower') AS survival_rated_lower,
    get_field(c.rated, 'upper') AS survival_rated_upper,
    get_field(c.attached, 'median') AS median_days,
    get_field(c.attached, 'mean') AS rmst_days,
    get_field(c.attached, 'mean_error') AS rmst_se,
    get_field(c.usable, 'mean') AS usable_days,
    get_field(c.usable, 'mean_error') AS usable_days_se
FROM curves AS c
INNER JOIN sites AS s ON s.site = c.site
ORDER BY s.position
