-- Which of two builds of a game was played first, as people said it, the newest first.
SELECT e.label AS earlier, l.label AS later
FROM build_order o JOIN builds e ON e.build_key = o.earlier JOIN builds l ON l.build_key = o.later
WHERE o.game = $game
ORDER BY o.noted_at DESC
