-- The console's own verdicts by player and grade, under the game's own name for the grade.
SELECT c.player, v.grade::BIGINT AS grade, min(l.label) AS label, count(*)::BIGINT AS verdicts
FROM verdict_events v
JOIN chosen c USING (run_id)
LEFT JOIN stages s ON s.stage_id = v.stage_id
LEFT JOIN fields f ON f.dictionary_id = v.dictionary_id AND f.kind = v.kind AND f.role = 'grade'
LEFT JOIN labels l ON l.dictionary_id = v.dictionary_id AND l.kind = v.kind AND l.field = f.field AND l.value = v.grade
WHERE v.grade IS NOT NULL
  AND ($stage::BIGINT IS NULL OR s.stage = $stage::BIGINT)
  AND ($stage_kind::BIGINT IS NULL OR s.stage_kind = $stage_kind::BIGINT)
GROUP BY c.player, v.grade
ORDER BY v.grade, c.player
