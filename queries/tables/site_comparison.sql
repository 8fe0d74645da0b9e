-- title = "Sites side by side"
-- row = "one site"
-- section = "bottom-line"
-- order = 1
-- [columns]
-- site = { label = "Site", class = "site" }
-- on_label = { label = "On the label", class = "category" }
-- sensors = { hidden = true, class = "count" }
-- sessions = { label = "Sensors", class = "count" }
-- wearers = { hidden = true, class = "count" }
-- usable_days = { label = "Usable days a sensor", unit = "days", digits = 1, class = "estimate" }
-- usable_days_lower = { unit = "days", digits = 1, class = "lower" }
-- usable_days_upper = { unit = "days", digits = 1, class = "upper" }
-- came_off = { label = "Came off by the rated day", unit = "share", digits = 0, class = "share" }
-- came_off_lower = { unit = "share", digits = 0, class = "lower" }
-- came_off_upper = { unit = "share", digits = 0, class = "upper" }
-- pairs = { hidden = true, class = "count" }
-- bias = { label = "Bias", unit = "mg/dL", digits = 1, class = "estimate" }
-- bias_lower = { unit = "mg/dL", digits = 1, class = "lower" }
-- bias_upper = { unit = "mg/dL", digits = 1, class = "upper" }
-- within_20_20 = { label = "Within 20/20", unit = "share", digits = 0, class = "share" }
-- within_20_20_lower = { unit = "share", digits = 0, class = "lower" }
-- within_20_20_upper = { unit = "share", digits = 0, class = "upper" }
-- mard = { label = "Mean absolute relative difference", unit = "share", digits = 1, class = "estimate" }
-- mard_lower = { unit = "share", digits = 1, class = "lower", hidden = true }
-- mard_upper = { unit = "share", digits = 1, class = "upper", hidden = true }
-- nights = { hidden = true, class = "count" }
-- night_rate = { label = "Night artefacts per 100 sensor-nights", digits = 1, class = "estimate" }
-- night_rate_lower = { digits = 1, class = "lower" }
-- night_rate_upper = { digits = 1, class = "upper" }
-- delay_minutes = { label = "Delay", unit = "min", digits = 1, class = "estimate" }
-- delay_minutes_lower = { unit = "min", digits = 1, class = "lower" }
-- delay_minutes_upper = { unit = "min", digits = 1, class = "upper" }
-- sd_between = { label = "Spread between sensors", unit = "mg/dL", digits = 1, class = "estimate" }
WITH worn AS (
    SELECT site, COUNT(*) AS sessions, COUNT(DISTINCT wearer) AS wearers
    FROM sessions
    GROUP BY site
),
last_incidence AS (
    SELECT
        site,
        incidence,
        ROW_NUMBER() OVER (PARTITION BY site ORDER BY day DESC) AS rank
    FROM site_incidence
    CROSS JOIN settings AS t
    WHERE cause = 'detached' AND at_most(day, t.rated_days)
),
came_off AS (
    SELECT site, incidence
    FROM last_incidence
    WHERE rank = 1
),
-- A sensor taken off as completed in the last day of its rated wear stayed on for all of it: else no sensor would be left on
-- the rated day where each is changed an hour early.
followed AS (
    SELECT
        *,
        CASE WHEN cause = 'completed' AND at_least(day, rated_days - 1) THEN rated_days ELSE day END AS on_until
    FROM lives
),
-- By mid-p beta products, which hold their promise with few sensors: none below two sensors for the share, three for the days.
intervals AS (
    SELECT
        l.site,
        survival_interval(l.on_until, l.ending, t.rated_days) AS free,
        survival_interval(l.day, l.any_ending, t.rated_days) AS usable
    FROM followed AS l
    CROSS JOIN settings AS t
    GROUP BY l.site
),
-- With wearers and sensors random; none below three sensors.
agreement AS (
    SELECT
        site,
        mean_over_wearers(difference, sensor_no, wearer) AS bias
    FROM pair_agreement
    GROUP BY site
),
-- A sensor that is made badly may come up at any site: those of other sites have a say in how bad it may be.
closeness AS (
    SELECT
        w.site,
        sensor_mean_in_study(p.ard, p.sensor_no, p.site, CASE WHEN p.site = w.site THEN 1.0 ELSE 0.0 END) AS mard,
        share_within_in_study(
            CASE WHEN below(p.fingerstick, 100) THEN p.difference / 20 ELSE 5 * p.relative_difference END,
            p.sensor_no,
            p.site,
            CASE WHEN p.site = w.site THEN 1.0 ELSE 0.0 END
        ) AS within_20_20
    FROM worn AS w
    CROSS JOIN pair_agreement AS p
    GROUP BY w.site
),
at_night AS (
    SELECT
        w.site,
        sensor_rate_in_study(a.artefacts, a.nights, a.site, CASE WHEN a.site = w.site THEN 1.0 ELSE 0.0 END) AS rate
    FROM worn AS w
    CROSS JOIN sensor_artefacts AS a
    GROUP BY w.site
)
SELECT
    w.site,
    CASE WHEN s.on_label THEN 'yes' WHEN NOT s.on_label THEN 'no' END AS on_label,
    a.sensors,
    w.sessions,
    w.wearers,
    CASE WHEN w.sessions > 2 THEN d.usable_days END AS usable_days,
    CASE WHEN w.sessions > 2 THEN get_field(r.usable, 'mean_lower') END AS usable_days_lower,
    CASE WHEN w.sessions > 2 THEN get_field(r.usable, 'mean_upper') END AS usable_days_upper,
    COALESCE(c.incidence, 0.0) AS came_off,
    CASE WHEN w.sessions > 1 THEN 1 - get_field(r.free, 'upper') END AS came_off_lower,
    CASE WHEN w.sessions > 1 THEN 1 - get_field(r.free, 'lower') END AS came_off_upper,
    a.pairs,
    COALESCE(get_field(g.bias, 'mean'), a.bias) AS bias,
    get_field(g.bias, 'lower') AS bias_lower,
    get_field(g.bias, 'upper') AS bias_upper,
    a.within_20_20,
    get_field(f.within_20_20, 'lower') AS within_20_20_lower,
    get_field(f.within_20_20, 'upper') AS within_20_20_upper,
    a.mard,
    get_field(f.mard, 'lower') AS mard_lower,
    get_field(f.mard, 'upper') AS mard_upper,
    n.nights,
    n.rate_per_100 AS night_rate,
    100 * get_field(q.rate, 'lower') AS night_rate_lower,
    100 * get_field(q.rate, 'upper') AS night_rate_upper,
    l.delay_minutes,
    l.lower AS delay_minutes_lower,
    l.upper AS delay_minutes_upper,
    a.sd_between
FROM worn AS w
INNER JOIN sites AS s ON s.site = w.site
LEFT JOIN site_wear AS d ON d.site = w.site
LEFT JOIN came_off AS c ON c.site = w.site
LEFT JOIN intervals AS r ON r.site = w.site
LEFT JOIN site_accuracy AS a ON a.site = w.site
LEFT JOIN agreement AS g ON g.site = w.site
LEFT JOIN closeness AS f ON f.site = w.site
LEFT JOIN site_nights AS n ON n.site = w.site
LEFT JOIN at_night AS q ON q.site = w.site
LEFT JOIN site_delay AS l ON l.site = w.site
ORDER BY s.position
