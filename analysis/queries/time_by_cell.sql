-- Seconds each player was alive in each cell of the screen and part of the game, from the logged positions. A sample stands for the time
-- until the next one of the same life, the life's end, or $longest_us, whichever comes first.
, samples AS (
    SELECT p.run_id, p.stage_id, p.x, p.y, p.at_us,
        lead(p.at_us) OVER (PARTITION BY p.run_id ORDER BY p.at_us) AS next_us
    FROM position_events p
    WHERE p.run_id IN (SELECT run_id FROM chosen) AND p.x IS NOT NULL AND p.y IS NOT NULL
), alive AS (
    SELECT m.*, l.end_us
    FROM samples m ASOF JOIN lives l ON m.run_id = l.run_id AND m.at_us >= l.start_us
    WHERE m.at_us < l.end_us
)
SELECT c.player, s.stage::DOUBLE AS stage, s.stage_kind::DOUBLE AS stage_kind,
    least(greatest(a.x // $cell, 0), $columns - 1)::BIGINT AS cell_column,
    least(greatest(a.y // $cell, 0), $rows - 1)::BIGINT AS cell_row,
    sum(least(coalesce(a.next_us, a.end_us), a.end_us, a.at_us + $longest_us) - a.at_us)::DOUBLE / 1e6 AS seconds
FROM alive a
JOIN chosen c USING (run_id)
LEFT JOIN stages s ON s.stage_id = a.stage_id
WHERE ($stage::INTEGER IS NULL OR s.stage = $stage::INTEGER)
  AND ($stage_kind::INTEGER IS NULL OR s.stage_kind = $stage_kind::INTEGER)
GROUP BY ALL
ORDER BY ALL
