-- In which logs each tagged player of a game played, on which builds, and whether it is known when.
SELECT player, capture_id, build, bool_and(played_at IS NOT NULL) AS timed
FROM runs
WHERE game = $game AND valid AND tagged AND NOT team
GROUP BY ALL
ORDER BY player, min(place), build
