-- title = "Night artefacts by site"
-- row = "one site"
-- section = "nights"
-- order = 1
-- note = "Sensor-nights with enough readings, and artefacts in them. Confirmed: a fingerstick was well above; refuted: it was as low. One that went below {70 mg/dL} and that nobody checked may have been a true low."
-- chart = { kind = "intervals", x = "rate_per_100", y = "site", lower = "rate_lower", upper = "rate_upper" }
-- [columns]
-- site = { label = "Site", class = "site" }
-- sensors = { label = "Sensors", class = "count" }
-- nights = { label = "Sensor-nights", class = "count" }
-- artefacts = { label = "Artefacts", class = "count" }
-- confirmed = { label = "Confirmed", class = "count" }
-- undecided = { label = "Undecided", class = "count" }
-- unchecked = { label = "Unchecked", class = "count" }
-- refuted = { label = "Refuted", class = "count" }
-- rate_per_100 = { label = "Per 100 sensor-nights", digits = 1, class = "estimate" }
-- rate_lower = { label = "from", digits = 1, class = "lower" }
-- rate_upper = { label = "to", digits = 1, class = "upper" }
-- share_of_nights = { label = "Nights with any", unit = "share", digits = 1, class = "share" }
-- artefact_minutes = { label = "In artefacts a night", unit = "min", digits = 1, class = "estimate" }
-- low_share_in_artefacts = { label = "Of readings below {70 mg/dL}, in artefacts", unit = "share", digits = 0, class = "share" }
-- judged_rate_per_100 = { label = "Per 100 without judged true lows", digits = 1, class = "estimate" }
-- judged_rate_per_100_lower = { digits = 1, class = "lower" }
-- judged_rate_per_100_upper = { digits = 1, class = "upper" }
WITH counted_nights AS (
    SELECT
        site,
        COUNT(DISTINCT sensor_no) AS sensors,
        COUNT(*) AS nights,
        SUM(low_readings) AS low_readings
    FROM compared_nights
    WHERE counted = 1
    GROUP BY site
),
found AS (
    SELECT
        a.site,
        SUM(CASE WHEN a.evidence = 'confirmed' THEN 1 ELSE 0 END) AS confirmed,
        SUM(CASE WHEN a.evidence = 'undecided' THEN 1 ELSE 0 END) AS undecided,
        SUM(CASE WHEN a.evidence = 'unchecked' THEN 1 ELSE 0 END) AS unchecked,
        SUM(CASE WHEN a.evidence = 'refuted' THEN 1 ELSE 0 END) AS refuted,
        SUM(CASE WHEN a.evidence <> 'refuted' AND a.judged = 'true-low' THEN 1 ELSE 0 END) AS judged_true,
        SUM(CASE
            WHEN a.evidence <> 'refuted'
                THEN minutes_between(GREATEST(a.start, n.night_start), LEAST(a."end", n.night_end))
        END) AS minutes
    FROM night_artefacts AS a
    INNER JOIN compared_nights AS n ON n.sensor_no = a.sensor_no AND n.night = a.night
    WHERE a.counted = 1
    GROUP BY a.site
),
nights_with_any AS (
    SELECT site, COUNT(*) AS nights
    FROM (
        SELECT DISTINCT site, sensor_no, night
        FROM night_artefacts
        WHERE counted = 1 AND evidence <> 'refuted'
    ) AS t
    GROUP BY site
),
lows AS (
    SELECT site, SUM(low_readings) AS low_readings
    FROM artefact_lows
    WHERE evidence <> 'refuted'
    GROUP BY site
),
totals AS (
    SELECT
        w.site,
        COALESCE(n.sensors, 0) AS sensors,
        COALESCE(n.nights, 0) AS nights,
        COALESCE(f.confirmed + f.undecided + f.unchecked, 0) AS artefacts,
        COALESCE(f.confirmed, 0) AS confirmed,
        COALESCE(f.undecided, 0) AS undecided,
        COALESCE(f.unchecked, 0) AS unchecked,
        COALESCE(f.refuted, 0) AS refuted,
        COALESCE(f.confirmed + f.undecided + f.unchecked - f.judged_true, 0) AS left_by_judgement,
        COALESCE(f.minutes, 0.0) AS minutes,
        COALESCE(d.nights, 0) AS nights_with_any,
        n.low_readings,
        COALESCE(l.low_readings, 0) AS low_in_artefacts
    FROM (SELECT DISTINCT site FROM sessions) AS w
    LEFT JOIN counted_nights AS n ON n.site = w.site
    LEFT JOIN found AS f ON f.site = w.site
    LEFT JOIN nights_with_any AS d ON d.site = w.site
    LEFT JOIN lows AS l ON l.site = w.site
)
SELECT
    t.site,
    t.sensors,
    t.nights,
    t.artefacts,
    t.confirmed,
    t.undecided,
    t.unchecked,
    t.refuted,
    100.0 * t.artefacts / NULLIF(t.nights, 0) AS rate_per_100,
    100.0 * exact_poisson_lower(t.artefacts) / NULLIF(t.nights, 0) AS rate_lower,
    100.0 * exact_poisson_upper(t.artefacts) / NULLIF(t.nights, 0) AS rate_upper,
    1.0 * t.nights_with_any / NULLIF(t.nights, 0) AS share_of_nights,
    t.minutes / NULLIF(t.nights, 0) AS artefact_minutes,
    1.0 * t.low_in_artefacts / NULLIF(t.low_readings, 0) AS low_share_in_artefacts,
    100.0 * t.left_by_judgement / NULLIF(t.nights, 0) AS judged_rate_per_100,
    100.0 * exact_poisson_lower(t.left_by_judgement) / NULLIF(t.nights, 0) AS judged_rate_per_100_lower,
    100.0 * exact_poisson_upper(t.left_by_judgement) / NULLIF(t.nights, 0) AS judged_rate_per_100_upper
FROM totals AS t
INNER JOIN sites AS s ON s.site = t.site
ORDER BY s.position
