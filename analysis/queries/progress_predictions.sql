-- What had been predicted for a game, the newest last.
SELECT p.noted_at, b.label AS build_label, p.fingerprint, p.prediction_json
FROM predictions p JOIN builds b ON b.build_key = p.build_key
WHERE p.game = $game
ORDER BY p.noted_at
