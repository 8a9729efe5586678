-- How many runs of one capture do not count because another one holds the same run and has more of it.
SELECT r.capture_id AS one, c.capture_id AS other, count(*)::BIGINT AS runs
FROM set_aside s JOIN all_runs r USING (run_id) JOIN runs c ON c.run_id = s.counts_as
JOIN captures k ON k.capture_id = r.capture_id JOIN captures l ON l.capture_id = c.capture_id
WHERE c.game = $game
GROUP BY r.capture_id, c.capture_id, k.place, l.place
ORDER BY k.place, l.place
