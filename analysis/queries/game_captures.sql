-- The captures that hold runs of some games, by name.
SELECT c.name, c.sha256, c.bytes, c.packets, c.events, c.rejected_packets, c.missing_packets, c.dropped_events,
    count(r.run_id)::BIGINT AS runs
FROM captures c JOIN runs r USING (capture_id)
WHERE list_contains($games::TEXT[], r.game)
GROUP BY ALL
ORDER BY c.name, c.sha256
