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
SELECT
    k.site,
    k.day,
    k.at_risk,
    k.events AS detached,
    k.censored,
    k.survival,
    k.std_error,
    k.lower,
    k.upper
FROM survival_steps AS k
INNER JOIN sites AS s ON s.site = k.site
WHERE k.kind = 'detached'
ORDER BY s.position, k.day
