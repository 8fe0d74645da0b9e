-- title = "What was read, set aside and used"
-- row = "one step of one table"
-- section = "quality"
-- order = 1
-- show = 60
-- [columns]
-- step = { hidden = true, class = "category", type = "integer" }
-- table_name = { label = "Rows of", class = "category" }
-- what = { label = "Step", class = "category" }
-- rows = { label = "Rows", class = "count" }
WITH totals AS (
    SELECT COALESCE(SUM(readings), 0) AS readings, COALESCE(SUM(used), 0) AS used
    FROM sensor_readings
),
steps AS (
    SELECT step, table_name, what, rows FROM row_counts
    UNION ALL
    SELECT 100, 'readings', 'up to the cut-off, of sensors inserted by then', readings FROM totals
    UNION ALL
    SELECT 101, 'readings', 'set aside: before the insertion or after the end', readings - used FROM totals
    UNION ALL
    SELECT 102, 'readings', 'used', used FROM totals
    UNION ALL
    SELECT 110, 'fingersticks', 'up to the cut-off', COUNT(*) FROM fingersticks
    UNION ALL
    SELECT 111, 'fingersticks', 'set aside: calibration or control', COUNT(*)
    FROM fingersticks WHERE purpose IN ('calibration', 'control')
    UNION ALL
    SELECT 112, 'fingersticks', 'paired with at least one reading', COUNT(DISTINCT fingerstick_no) FROM pairs
    UNION ALL
    SELECT 113, 'pairs', 'used', COUNT(*) FROM pairs
    UNION ALL
    SELECT 120, 'sensors', 'worn', COUNT(*) FROM sessions
    UNION ALL
    SELECT 121, 'sensors', 'lost track of', COUNT(*) FROM lost_sensors
    UNION ALL
    SELECT 130, 'sensor-nights', 'touched by wear', COUNT(*) FROM sensor_nights
    UNION ALL
    SELECT 131, 'sensor-nights', 'counted: enough readings', COUNT(*) FROM sensor_nights WHERE counted = 1
    UNION ALL
    SELECT 140, 'judgements', 'up to the cut-off', COUNT(*) FROM judgements HAVING COUNT(*) > 0
    UNION ALL
    SELECT 141, 'judgements', 'of a night artefact', COUNT(m.sensor_no)
    FROM (SELECT COUNT(*) AS made FROM judgements) AS j
    LEFT JOIN judged_artefacts AS m ON TRUE
    GROUP BY j.made
    HAVING j.made > 0
)
SELECT step, table_name, what, rows
FROM steps
ORDER BY step
