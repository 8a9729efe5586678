-- The players of a game, the makers last.
SELECT player, bool_or(team) AS team, max(attempt)::BIGINT AS attempts
FROM runs WHERE game = $game AND NOT open
GROUP BY player
ORDER BY team, player
