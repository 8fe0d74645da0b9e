-- title = "Injections and the room that sensors take"
-- row = "one injection site"
-- section = "injections"
-- order = 1
-- note = "Beside a sensor: one was worn on that site at the time. Too close: nearer to the sensor than 7.5 cm, three inches (common practice, no source), of those whose distance was noted. Exact intervals, injections as independent."
-- chart = { kind = "intervals", x = "beside_share", y = "site", lower = "beside_share_lower", upper = "beside_share_upper" }
-- [columns]
-- site = { label = "Site", class = "site" }
-- injections = { label = "Injections", class = "count" }
-- beside = { label = "of these with a sensor on that site", class = "count" }
-- beside_share = { label = "Share beside a sensor", unit = "share", digits = 0, class = "share" }
-- beside_share_lower = { unit = "share", digits = 0, class = "lower" }
-- beside_share_upper = { unit = "share", digits = 0, class = "upper" }
-- measured = { label = "Distance noted", class = "count" }
-- close = { label = "of these nearer than 7.5 cm", class = "count" }
-- close_share = { label = "Share too close", unit = "share", digits = 0, class = "share" }
-- close_share_lower = { unit = "share", digits = 0, class = "lower" }
-- close_share_upper = { unit = "share", digits = 0, class = "upper" }
WITH injections AS (
    SELECT
        wearer,
        time,
        site,
        distance_cm,
        ROW_NUMBER() OVER (ORDER BY wearer, time, site, side, sensor, distance_cm, note) AS injection_no
    FROM wear_events
    WHERE event = 'injection' AND site IS NOT NULL
),
beside AS (
    SELECT DISTINCT i.injection_no
    FROM injections AS i
    INNER JOIN sessions AS s ON s.wearer = i.wearer AND s.site = i.site
    WHERE i.time >= s.inserted AND i.time <= s.seen_until
),
counts AS (
    SELECT
        i.site,
        COUNT(*) AS injections,
        COUNT(b.injection_no) AS beside,
        COUNT(i.distance_cm) AS measured,
        SUM(CASE WHEN below(i.distance_cm, 7.5) THEN 1 ELSE 0 END) AS close
    FROM injections AS i
    LEFT JOIN beside AS b ON b.injection_no = i.injection_no
    GROUP BY i.site
)
SELECT
    c.site,
    c.injections,
    c.beside,
    CAST(c.beside AS DOUBLE) / c.injections AS beside_share,
    exact_share_lower(c.beside, c.injections) AS beside_share_lower,
    exact_share_upper(c.beside, c.injections) AS beside_share_upper,
    c.measured,
    c.close,
    CAST(c.close AS DOUBLE) / NULLIF(c.measured, 0) AS close_share,
    exact_share_lower(c.close, c.measured) AS close_share_lower,
    exact_share_upper(c.close, c.measured) AS close_share_upper
FROM counts AS c
INNER JOIN sites AS s ON s.site = c.site
ORDER BY s.position
