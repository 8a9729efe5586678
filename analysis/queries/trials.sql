-- Every shot at the target by the chosen runs, in order.
SELECT c.player, c.build, t.run_id, t.at_us, t.success::DOUBLE AS success, t.error::DOUBLE AS error,
    t.speed::DOUBLE AS speed, c.ending
FROM trial_events t JOIN chosen c USING (run_id)
ORDER BY t.run_id, t.at_us
