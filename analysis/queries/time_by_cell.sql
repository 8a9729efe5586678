-- Seconds each player was alive in each cell of the screen at each stage, from the sums made at ingest (`places`). Their cells are
-- smaller than or as large as these; where the sizes do not go into each other, the middle decides.
SELECT c.player, s.stage::DOUBLE AS stage, s.stage_kind::DOUBLE AS stage_kind,
    least((p.x + p.cell_px // 2) // $cell, $columns - 1)::BIGINT AS cell_column,
    least((p.y + p.cell_px // 2) // $cell, $rows - 1)::BIGINT AS cell_row,
    sum(p.alive_us)::DOUBLE / 1e6 AS seconds
FROM places p
JOIN chosen c USING (run_id)
LEFT JOIN stages s ON s.stage_id = p.stage_id
WHERE ($stage::BIGINT IS NULL OR s.stage = $stage::BIGINT)
  AND ($stage_kind::BIGINT IS NULL OR s.stage_kind = $stage_kind::BIGINT)
GROUP BY ALL
ORDER BY ALL
