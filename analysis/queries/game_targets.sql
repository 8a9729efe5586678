-- The targets somebody set for a game, the newest first.
SELECT noted_at::TEXT AS noted_at, target_toml FROM targets WHERE game = $game ORDER BY noted_at DESC
