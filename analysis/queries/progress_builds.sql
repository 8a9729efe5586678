-- The builds that the audience played, in the order of their last run.
SELECT build, max(capture_id * 1000000::BIGINT + number) AS last_run
FROM runs
WHERE game = $game AND valid AND NOT team
GROUP BY build
ORDER BY last_run
