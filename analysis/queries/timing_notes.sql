-- Notes that came due while the run went on, with the song they belong to. Where a song was broken off (given up, cut
-- or failed), its last 300 ms are left out: a press that came after the end would make its note look like a lapse.
SELECT n.run_id, n.at_us::BIGINT AS due_us, n.lane::DOUBLE AS lane, s.stage::DOUBLE AS stage,
    s.stage_kind::DOUBLE AS stage_kind, coalesce(s.song, s.stage, 1)::BIGINT AS song,
    coalesce(s.start_us, c.start_us)::BIGINT AS song_start_us
FROM note_events n
JOIN chosen c USING (run_id)
LEFT JOIN stages s ON s.stage_id = n.stage_id
WHERE n.at_us <= least(c.end_us, coalesce(s.end_us, c.end_us))
    - CASE WHEN s.cleared OR (s.cleared IS NULL AND c.ending = 'finished') THEN 0 ELSE 300000 END
  AND ($stage::BIGINT IS NULL OR s.stage = $stage::BIGINT)
  AND ($stage_kind::BIGINT IS NULL OR s.stage_kind = $stage_kind::BIGINT)
  AND n.run_id IN (SELECT unnest($runs::BIGINT[]))
ORDER BY n.run_id, n.at_us, n.lane
