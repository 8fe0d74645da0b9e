-- title = "Sensors that ended early"
-- row = "one sensor that ended before its rated day, latest first"
-- section = "faults"
-- order = 1
-- note = "Those that failed or never started have a sheet each in sheets.html, with all that is recorded of them. Hours lost are those to the rated wear of the model. The readings are those of the 24 hours before the end, low and high ones with the limit of the measuring range; those marked as errors are counted apart, those of the warm-up not at all."
-- show = 100
-- [columns]
-- panel = { label = "No.", class = "category", type = "integer" }
-- wearer = { label = "Wearer", class = "wearer" }
-- sensor = { label = "Sensor", class = "sensor" }
-- model = { label = "Model", class = "identifying" }
-- lot = { label = "Lot", class = "identifying" }
-- site = { label = "Site", class = "site" }
-- side = { label = "Side", hidden = true, class = "category" }
-- inserted = { label = "Inserted", class = "time" }
-- ended = { label = "Ended", class = "time" }
-- hours_worn = { label = "Worn", unit = "h", digits = 0, hidden = true, class = "estimate" }
-- hours_lost = { label = "Lost", unit = "h", digits = 0, class = "estimate" }
-- cause = { label = "Cause", class = "category" }
-- last_reading = { label = "Last reading", hidden = true, class = "time" }
-- readings = { label = "Readings of the last day", hidden = true, class = "count" }
-- lowest = { label = "Lowest", unit = "mg/dL", digits = 0, hidden = true, class = "estimate" }
-- highest = { label = "Highest", unit = "mg/dL", digits = 0, hidden = true, class = "estimate" }
-- errors = { label = "Readings marked as errors", hidden = true, class = "count" }
WITH extremes AS (
    SELECT
        panel,
        COUNT(*) FILTER (WHERE status IN ('ok', 'low', 'high')) AS readings,
        MIN(glucose) FILTER (WHERE status IN ('ok', 'low', 'high')) AS lowest,
        MAX(glucose) FILTER (WHERE status IN ('ok', 'low', 'high')) AS highest,
        COUNT(*) FILTER (WHERE status = 'error') AS errors
    FROM last_readings
    GROUP BY panel
)
SELECT
    e.panel,
    e.wearer,
    e.sensor,
    e.model,
    e.lot,
    e.site,
    e.side,
    e.inserted,
    e.ended,
    e.hours_worn,
    e.hours_lost,
    e.cause,
    e.last_reading,
    COALESCE(x.readings, 0) AS readings,
    x.lowest,
    x.highest,
    COALESCE(x.errors, 0) AS errors
FROM early_ends AS e
LEFT JOIN extremes AS x ON x.panel = e.panel
ORDER BY e.panel
