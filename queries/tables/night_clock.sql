-- title = "When night artefacts happen"
-- row = "one site and hour of the local clock"
-- section = "nights"
-- order = 8
-- note = "By the hour of the lowest reading; artefacts that a fingerstick refuted are left out. A sensor-night counts for an hour with the part of it that it covers."
-- chart = { kind = "strip", x = "hour", y = "site", value = "rate" }
-- show = 0
-- [columns]
-- site = { label = "Site", class = "site" }
-- hour = { label = "Hour", class = "category", type = "integer" }
-- nights = { label = "Sensor-nights", digits = 1, class = "count", type = "number" }
-- artefacts = { label = "Artefacts", class = "count" }
-- rate = { label = "Per 100 sensor-nights", digits = 1, class = "estimate" }
WITH spans AS (
    SELECT
        wearer,
        site,
        night_start,
        night_end,
        COUNT(*) AS nights,
        CAST(night_start AS BIGINT) / 900000000 AS first_quarter,
        (CAST(night_end AS BIGINT) - 1) / 900000000 AS last_quarter
    FROM compared_nights
    WHERE counted = 1
    GROUP BY wearer, site, night_start, night_end
),
-- Clocks differ from UTC by whole quarters of an hour.
quarters AS (
    SELECT
        n.wearer,
        n.site,
        n.nights,
        n.night_start,
        n.night_end,
        to_timestamp_micros((n.first_quarter + k.value) * 900000000) AS opens,
        to_timestamp_micros((n.first_quarter + k.value + 1) * 900000000) AS closes
    FROM generate_series(0, 196) AS k
    CROSS JOIN spans AS n
    WHERE n.first_quarter + k.value <= n.last_quarter
),
-- The hour by the clock of where the wearer was.
exposure AS (
    SELECT
        q.site,
        clock_hour(q.opens, z.timezone) AS hour,
        SUM(q.nights * minutes_between(GREATEST(q.opens, q.night_start), LEAST(q.closes, q.night_end))) / 60 AS nights
    FROM wearer_zones AS z
    INNER JOIN quarters AS q
        ON q.wearer = z.wearer
        AND (z.zone_from IS NULL OR q.opens >= z.zone_from)
        AND (z.zone_until IS NULL OR q.opens < z.zone_until)
    GROUP BY q.site, clock_hour(q.opens, z.timezone)
),
found AS (
    SELECT a.site, clock_hour(a.nadir_time, z.timezone) AS hour, COUNT(*) AS artefacts
    FROM night_artefacts AS a
    INNER JOIN wearer_zones AS z
        ON z.wearer = a.wearer
        AND (z.zone_from IS NULL OR a.nadir_time >= z.zone_from)
        AND (z.zone_until IS NULL OR a.nadir_time < z.zone_until)
    WHERE a.counted = 1 AND a.evidence <> 'refuted'
    GROUP BY a.site, clock_hour(a.nadir_time, z.timezone)
)
SELECT
    e.site,
    e.hour,
    e.nights,
    COALESCE(f.artefacts, 0) AS artefacts,
    100.0 * COALESCE(f.artefacts, 0) / e.nights AS rate
FROM exposure AS e
INNER JOIN sites AS s ON s.site = e.site
LEFT JOIN found AS f ON f.site = e.site AND f.hour = e.hour
WHERE e.nights > 0
ORDER BY s.position, e.hour
