-- What can be said of each chosen run's own soundness.
SELECT c.run_id, c.capture_id, c.player, c.tagged, c.damaged, c.mixed_build, c.ending, c.alive_us / 1e6 AS alive_s,
    c.deaths::BIGINT AS deaths
FROM chosen c
ORDER BY c.run_id
