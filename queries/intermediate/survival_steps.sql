-- title = "Kaplan-Meier estimates"
-- row = "one day on which something happened at one site, for one kind of ending"
-- role = "intermediate"

-- Kinds: `detached` counts fell-off, knocked-off and lifted as events; `any ending` counts every recorded end.
-- A session that outlasts its rated wear is censored there; events come before censorings of the same day.
WITH lives AS (
    SELECT
        site,
        LEAST(days, rated_days) AS day,
        detached = 1 AND days <= rated_days * (1 + 1e-9) AS came_off,
        ended IS NOT NULL AND days <= rated_days * (1 + 1e-9) AS ended_at_all
    FROM sessions
),
kinds AS (
    SELECT 'detached' AS kind, site, day, CASE WHEN came_off THEN 1 ELSE 0 END AS event FROM lives
    UNION ALL
    SELECT 'any ending' AS kind, site, day, CASE WHEN ended_at_all THEN 1 ELSE 0 END AS event FROM lives
),
days AS (
    SELECT kind, site, day, SUM(event) AS events, COUNT(*) - SUM(event) AS censored
    FROM kinds
    GROUP BY kind, site, day
),
risk AS (
    SELECT
        *,
        SUM(events + censored) OVER (
            PARTITION BY kind, site ORDER BY day ROWS BETWEEN CURRENT ROW AND UNBOUNDED FOLLOWING
        ) AS at_risk
    FROM days
),
steps AS (
    SELECT
        *,
        product(CAST(at_risk - events AS DOUBLE) / at_risk) OVER (
            PARTITION BY kind, site ORDER BY day ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW
        ) AS survival,
        SUM(CASE WHEN at_risk > events THEN CAST(events AS DOUBLE) / (CAST(at_risk AS DOUBLE) * (at_risk - events)) END)
            OVER (PARTITION BY kind, site ORDER BY day ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW)
            AS greenwood
    FROM risk
),
errors AS (
    SELECT *, CASE WHEN survival > 0 THEN survival * SQRT(greenwood) END AS std_error
    FROM steps
),
loglog AS (
    SELECT
        *,
        CASE WHEN survival > 0 AND survival < 1
            THEN 1.959963984540054 * std_error / (survival * ABS(LN(survival)))
        END AS half_width
    FROM errors
)
SELECT
    kind,
    site,
    day,
    at_risk,
    events,
    censored,
    survival,
    std_error,
    POWER(survival, EXP(half_width)) AS lower,
    POWER(survival, EXP(-half_width)) AS upper
FROM loglog
ORDER BY kind, site, day
