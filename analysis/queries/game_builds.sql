-- The builds of a game that have runs, in the order in which they were first played.
SELECT build FROM runs WHERE game = $game GROUP BY build ORDER BY min(run_id)
