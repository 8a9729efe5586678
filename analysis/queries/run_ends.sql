-- The chosen runs: how long they lasted and how they ended.
SELECT c.run_id, c.player, c.tagged, c.build, c.attempt, c.player_group, c.first_time::DOUBLE AS first_time,
    c.alive_us, c.end_us - c.start_us AS run_us, c.ending, c.deaths, c.team, c.score::DOUBLE AS score, c.damaged, c.mixed_build,
    coalesce(r.rating, c.rating)::DOUBLE AS rating
FROM chosen c
LEFT JOIN ratings r ON r.player = c.player AND r.game = c.game AND r.attempt = c.attempt
ORDER BY c.run_id
