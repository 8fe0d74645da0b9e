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
WITH lives AS (
    SELECT
        site,
        LEAST(days, rated_days) AS day,
        CASE
            WHEN days > rated_days * (1 + 1e-9) THEN NULL
            WHEN detached = 1 THEN 'detached'
            WHEN cause IN ('sensor-fault', 'reaction', 'not-started') THEN cause
        END AS cause
    FROM sessions
),
days AS (
    SELECT site, day, COUNT(cause) AS all_events, COUNT(*) AS leaving
    FROM lives
    GROUP BY site, day
),
risk AS (
    SELECT
        *,
        SUM(leaving) OVER (
            PARTITION BY site ORDER BY day ROWS BETWEEN CURRENT ROW AND UNBOUNDED FOLLOWING
        ) AS at_risk
    FROM days
),
overall AS (
    SELECT
        site,
        day,
        CAST(at_risk AS DOUBLE) AS n,
        CAST(all_events AS DOUBLE) AS d,
        COALESCE(product((CAST(at_risk AS DOUBLE) - all_events) / at_risk) OVER (
            PARTITION BY site ORDER BY day ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
        ), 1.0) AS before
    FROM risk
),
causes AS (
    SELECT DISTINCT site, cause FROM lives WHERE cause IS NOT NULL
),
of_cause AS (
    SELECT site, cause, day, CAST(COUNT(*) AS DOUBLE) AS e
    FROM lives
    WHERE cause IS NOT NULL
    GROUP BY site, cause, day
),
-- One row for each day of a site and each of its causes, since every ending moves the error of every curve.
grid AS (
    SELECT
        o.site,
        c.cause,
        o.day,
        o.n,
        o.d,
        o.before,
        COALESCE(e.e, 0.0) AS e,
        CASE WHEN o.n > o.d THEN o.d / (o.n * (o.n - o.d)) ELSE 0.0 END AS g
    FROM overall AS o
    INNER JOIN causes AS c ON c.site = o.site
    LEFT JOIN of_cause AS e ON e.site = o.site AND e.cause = c.cause AND e.day = o.day
),
curves AS (
    SELECT
        *,
        SUM(before * e / n) OVER (
            PARTITION BY site, cause ORDER BY day ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW
        ) AS f
    FROM grid
),
-- The delta method, over all days u up to the day t:
-- sum (F(t) - F(u))^2 g(u) + sum S(u-)^2 (n - e) e / n^3 - 2 sum (F(t) - F(u)) S(u-) e / n^2.
variances AS (
    SELECT
        t.site,
        t.cause,
        t.day,
        t.f,
        SUM(
            (t.f - u.f) * (t.f - u.f) * u.g
            + u.before * u.before * (u.n - u.e) * u.e / (u.n * u.n * u.n)
            - 2 * (t.f - u.f) * u.before * u.e / (u.n * u.n)
        ) AS variance
    FROM curves AS t
    INNER JOIN curves AS u ON u.site = t.site AND u.cause = t.cause AND u.day <= t.day
    WHERE t.e > 0
    GROUP BY t.site, t.cause, t.day, t.f
)
SELECT
    v.site,
    v.cause,
    v.day,
    v.f AS incidence,
    SQRT(GREATEST(v.variance, 0.0)) AS std_error
FROM variances AS v
INNER JOIN sites AS s ON s.site = v.site
ORDER BY s.position, v.cause, v.day
