-- What was done within each life of the chosen runs: shots fired, notes due, lines cleared.
, counted AS (
    SELECT e.run_id, e.at_us, 1 AS shots, 0 AS notes, 0 AS lines FROM shot_events e WHERE e.run_id IN (FROM chosen SELECT run_id)
    UNION ALL
    SELECT e.run_id, e.at_us, 0, 1, 0 FROM note_events e WHERE e.run_id IN (FROM chosen SELECT run_id)
    UNION ALL
    SELECT e.run_id, e.at_us, 0, 0, coalesce(e.lines, 1) FROM lines_events e WHERE e.run_id IN (FROM chosen SELECT run_id)
), by_life AS (
    SELECT l.life_id, sum(e.shots) AS shots, sum(e.notes) AS notes, sum(e.lines) AS lines
    FROM counted e ASOF JOIN lives l ON e.run_id = l.run_id AND e.at_us >= l.start_us
    WHERE e.at_us <= l.end_us
    GROUP BY l.life_id
)
SELECT l.life_id, l.run_id, c.player, l.died, coalesce(b.shots, 0)::DOUBLE AS shots,
    coalesce(b.notes, 0)::DOUBLE AS notes, coalesce(b.lines, 0)::DOUBLE AS lines
FROM lives l
JOIN chosen c USING (run_id)
LEFT JOIN by_life b USING (life_id)
LEFT JOIN stages s ON s.stage_id = l.stage_id
WHERE ($stage::INTEGER IS NULL OR s.stage = $stage::INTEGER)
  AND ($stage_kind::INTEGER IS NULL OR s.stage_kind = $stage_kind::INTEGER)
ORDER BY l.run_id, l.number
