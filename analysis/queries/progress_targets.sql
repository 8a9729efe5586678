-- The targets files kept for a game, the newest last.
SELECT target_toml FROM targets WHERE game = $game ORDER BY noted_at
