-- The newest targets that somebody set for a game.
SELECT noted_at::TEXT AS noted_at, target_toml FROM targets WHERE game = $game ORDER BY noted_at DESC LIMIT 1
