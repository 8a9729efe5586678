-- The chosen runs in the order in which they count where nothing tells their time.
SELECT run_id, player, attempt, build_id, build, ending, alive_us, deaths, first_time, damaged, mixed_build
FROM chosen
ORDER BY place
