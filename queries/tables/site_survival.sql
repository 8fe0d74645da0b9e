-- title = "Share of sensors still attached, by day of wear"
-- row = "one day on which something happened at one site"
-- section = "wear"
-- order = 1
-- note = "Kaplan-Meier with 95 % bands on the log(-log) scale. Other endings are censored, so this compares how well sites hold a sensor; it is not the share that comes off."
-- chart = { kind = "steps", x = "day", y = "survival", lower = "lower", upper = "upper", series = "site" }
-- [columns]
-- site = { label = "Site", class = "site" }
-- day = { label = "Day of wear", unit = "days", digits = 2, class = "estimate" }
-- at_risk = { label = "At risk", class = "count" }
-- detached = { label = "Came off", class = "count" }
-- censored = { label = "Censored", class = "count" }
-- survival = { label = "Still attached", unit = "share", digits = 1, class = "share" }
-- std_error = { label = "Standard error", unit = "share", digits = 1, class = "estimate" }
-- lower = { label = "from", unit = "share", digits = 1, class = "lower" }
-- upper = { label = "to", unit = "share", digits = 1, class = "upper" }
WITH curves AS (
    SELECT site, UNNEST(kaplan_meier(day, event)) AS at
    FROM lives
    GROUP BY site
)
SELECT
    c.site,
    get_field(c.at, 'day') AS day,
    CAST(get_field(c.at, 'at_risk') AS BIGINT) AS at_risk,
    CAST(get_field(c.at, 'events') AS BIGINT) AS detached,
    CAST(get_field(c.at, 'censored') AS BIGINT) AS censored,
    get_field(c.at, 'survival') AS survival,
    get_field(c.at, 'std_error') AS std_error,
    get_field(c.at, 'lower') AS lower,
    get_field(c.at, 'upper') AS upper
FROM curves AS c
INNER JOIN sites AS s ON s.site = c.site
ORDER BY s.position, day
