-- The runs played last, of any game, the newest first.
SELECT r.run_id, r.game, CASE WHEN r.tagged THEN r.player WHEN r.open THEN 'open' ELSE 'no tag' END AS player,
    r.alive_us / 1e6 AS alive_s,
    r.ending, r.damaged
FROM runs r JOIN captures c USING (capture_id)
ORDER BY coalesce(r.played_at, c.received_at) DESC NULLS LAST, r.place DESC
LIMIT $most
