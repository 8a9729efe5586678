-- The groups of the players of a game.
SELECT DISTINCT player_group FROM runs WHERE game = $game AND player_group IS NOT NULL
ORDER BY player_group
