-- What had been predicted for a game, the newest last.
SELECT noted_at, build_label, fingerprint, prediction_json FROM predictions WHERE game = $game ORDER BY noted_at
