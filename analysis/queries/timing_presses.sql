-- Presses of the chosen runs, inside a window or not. Those of other stages are harmless: no note claims them.
SELECT p.run_id, p.at_us::BIGINT AS press_us, p.lane::DOUBLE AS lane
FROM press_events p
JOIN chosen c USING (run_id)
LEFT JOIN stages s ON s.stage_id = p.stage_id
WHERE ($stage::BIGINT IS NULL OR s.stage = $stage::BIGINT)
  AND ($stage_kind::BIGINT IS NULL OR s.stage_kind = $stage_kind::BIGINT)
  AND p.run_id IN (SELECT unnest($runs::BIGINT[]))
ORDER BY p.run_id, p.at_us
