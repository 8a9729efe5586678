-- The chosen runs in the order in which they were played.
SELECT run_id, player, attempt, build_id, build, ending, alive_us, deaths, first_time, damaged, mixed_build,
    capture_id, number
FROM chosen
ORDER BY capture_id, number
