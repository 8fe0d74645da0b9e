-- title = "Sensors that ended early"
-- row = "one sensor that ended before its rated day, latest first"
-- section = "faults"
-- order = 1
-- note = "Each has a sheet at the end of this report, with all that is recorded of it. Hours lost are those to the rated wear of the model. The readings are those of the 24 hours before the end, low and high ones with the limit of the measuring range; those marked as errors are counted apart, those of the warm-up not at all."
-- show = 100
-- [columns]
-- panel = { label = "No." }
-- wearer = { label = "Wearer" }
-- sensor = { label = "Sensor" }
-- model = { label = "Model" }
-- lot = { label = "Lot" }
-- site = { label = "Site" }
-- side = { label = "Side", hidden = true }
-- inserted = { label = "Inserted" }
-- ended = { label = "Ended" }
-- hours_worn = { label = "Worn", unit = "h", digits = 0, hidden = true }
-- hours_lost = { label = "Lost", unit = "h", digits = 0 }
-- cause = { label = "Cause" }
-- last_reading = { label = "Last reading", hidden = true }
-- readings = { label = "Readings of the last day", hidden = true }
-- lowest = { label = "Lowest", unit = "mg/dL", digits = 0, hidden = true }
-- highest = { label = "Highest", unit = "mg/dL", digits = 0, hidden = true }
-- errors = { label = "Readings marked as errors", hidden = true }
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
