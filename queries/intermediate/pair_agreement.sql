-- title = "Pairs with what counts as agreement"
-- row = "one fingerstick and the nearest reading of one sensor"
-- role = "view"
WITH judged AS (
    SELECT
        *,
        ABS(relative_difference) AS ard,
        CASE WHEN fingerstick < 100 * (1 - 1e-9) THEN ABS(difference) ELSE 100 * ABS(relative_difference) END AS error
    FROM compared_pairs
)
SELECT
    *,
    CASE WHEN error <= 15 * (1 + 1e-9) THEN 1.0 ELSE 0.0 END AS in_15_15,
    CASE WHEN error <= 20 * (1 + 1e-9) THEN 1.0 ELSE 0.0 END AS in_20_20,
    CASE WHEN error <= 40 * (1 + 1e-9) THEN 1.0 ELSE 0.0 END AS in_40_40,
    CASE WHEN ard <= 0.2 * (1 + 1e-9) THEN 1.0 ELSE 0.0 END AS in_20_percent
FROM judged
