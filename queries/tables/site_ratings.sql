-- title = "Ratings, by site"
-- row = "one site and one aspect"
-- section = "comfort"
-- order = 1
-- note = "0 to 10, 10 is best: easy to insert, no pain, comfortable, invisible, no trouble asleep. Each sensor counts as one draw from its site; intervals by t from three sensors on, cut at 0 and 10."
-- chart = { kind = "intervals", x = "mean", y = "site", lower = "mean_lower", upper = "mean_upper", series = "aspect" }
-- [columns]
-- site = { label = "Site", class = "site" }
-- aspect = { label = "Aspect", class = "category" }
-- sensors = { label = "Sensors", class = "count" }
-- ratings = { label = "Ratings", class = "count" }
-- mean = { label = "Mean rating", digits = 1, class = "estimate" }
-- mean_lower = { digits = 1, class = "lower" }
-- mean_upper = { digits = 1, class = "upper" }
WITH fits AS (
    SELECT
        s.site,
        e.aspect,
        COUNT(DISTINCT s.order_of_wear || ' ' || s.wearer) AS sensors,
        COUNT(*) AS ratings,
        random_intercept(e.score, s.order_of_wear || ' ' || s.wearer) AS fit
    FROM wear_events AS e
    INNER JOIN sessions AS s ON s.wearer = e.wearer AND s.sensor = e.sensor
    WHERE e.event = 'rating' AND e.aspect IS NOT NULL AND e.score IS NOT NULL
    GROUP BY s.site, e.aspect
)
SELECT
    f.site,
    f.aspect,
    f.sensors,
    f.ratings,
    get_field(f.fit, 'mean') AS mean,
    CASE WHEN f.sensors > 2 THEN clamp(get_field(f.fit, 'lower'), 0, 10) END AS mean_lower,
    CASE WHEN f.sensors > 2 THEN clamp(get_field(f.fit, 'upper'), 0, 10) END AS mean_upper
FROM fits AS f
INNER JOIN sites AS s ON s.site = f.site
ORDER BY s.position, f.aspect
