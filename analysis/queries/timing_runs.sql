-- The chosen runs in which a note came due, with what tells consoles and builds apart.
SELECT c.run_id, c.player, c.attempt, c.build, c.build_id, c.damaged, k.name AS capture,
    c.first_time IS NOT DISTINCT FROM false AND c.attempt = 1 AS experienced  -- had played before this playtest
FROM chosen c JOIN captures k USING (capture_id)
WHERE c.run_id IN (SELECT run_id FROM note_events)
ORDER BY c.run_id
