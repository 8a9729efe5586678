-- Single shots at the target in the chosen runs, in order.
SELECT c.run_id, e.success, e.speed
FROM chosen c JOIN trial_events e USING (run_id)
WHERE e.success IS NOT NULL
ORDER BY c.run_id, e.at_us
