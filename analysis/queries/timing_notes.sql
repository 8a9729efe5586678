-- Notes that came due while the run went on, with the song they belong to.
SELECT n.run_id, n.at_us::BIGINT AS due_us, n.lane::DOUBLE AS lane, s.stage::DOUBLE AS stage,
    s.stage_kind::DOUBLE AS stage_kind, coalesce(s.song, s.stage, 1)::BIGINT AS song,
    coalesce(s.start_us, c.start_us)::BIGINT AS song_start_us
FROM note_events n
JOIN chosen c USING (run_id)
LEFT JOIN stages s ON s.stage_id = n.stage_id
WHERE n.at_us <= c.end_us
  AND ($stage::INTEGER IS NULL OR s.stage = $stage::INTEGER)
  AND ($stage_kind::INTEGER IS NULL OR s.stage_kind = $stage_kind::INTEGER)
ORDER BY n.run_id, n.at_us, n.lane
