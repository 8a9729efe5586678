-- Every run of a game as the run list shows it, the newest first; marked runs are listed too.
-- A run whose own time is unknown stands where its log came to an end.
SELECT r.run_id, c.name AS capture, c.capture_key, r.number, r.player, r.tagged, r.team, r.build, r.attempt,
    r.alive_us / 1e6 AS alive_s, r.ending, r.deaths::BIGINT AS deaths, r.damaged, r.valid, r.invalid_reason, r.remark,
    r.open, r.candidates, r.begun, r.played_at::TEXT AS played_at, -- UTC
    r.player_group, r.first_time, r.score::DOUBLE AS score, coalesce(p.rating, r.rating)::DOUBLE AS rating
FROM runs r JOIN captures c USING (capture_id)
LEFT JOIN ratings p ON p.player = r.player AND p.game = r.game AND p.attempt = r.attempt
WHERE r.game = $game
ORDER BY coalesce(r.played_at, c.received_at) DESC NULLS LAST, r.place DESC
LIMIT $most
