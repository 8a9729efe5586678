-- The runs of a game of which it is open who played them.
SELECT r.run_id, c.name AS capture, r.number, r.candidates, r.begun, r.alive_us / 1e6 AS alive_s, r.deaths::BIGINT AS deaths
FROM runs r JOIN captures c USING (capture_id)
WHERE r.game = $game AND r.open
ORDER BY r.place
