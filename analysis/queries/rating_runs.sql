-- The chosen runs that were rated, with what happened in them; a rating from a file overrides the console's.
SELECT c.run_id, c.player, c.attempt, coalesce(r.rating, c.rating)::DOUBLE AS rating, c.alive_us / 1e6 AS alive_s,
    c.deaths::DOUBLE AS deaths, (c.ending = 'finished')::DOUBLE AS finished, (c.ending = 'quit')::DOUBLE AS quit,
    c.score::DOUBLE AS score,
    (SELECT count(*) FROM stages s WHERE s.run_id = c.run_id AND s.cleared)::DOUBLE AS stages_cleared
FROM chosen c
LEFT JOIN ratings r ON r.player = c.player AND r.game = c.game AND r.attempt = c.attempt
WHERE coalesce(r.rating, c.rating) IS NOT NULL
ORDER BY c.run_id
