-- The chosen runs in which a note came due, with their number of notes and what tells consoles and builds apart.
SELECT c.run_id, c.player, c.attempt, c.build, c.build_id, c.damaged, k.name AS capture, n.notes,
    c.first_time IS NOT DISTINCT FROM false AND c.attempt = 1 AS experienced  -- had played before this playtest
FROM chosen c
JOIN captures k USING (capture_id)
JOIN (SELECT run_id, count(*) AS notes FROM note_events GROUP BY run_id) n USING (run_id)
ORDER BY c.run_id
