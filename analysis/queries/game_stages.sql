-- The stages of a game that somebody entered. A stage with a boss is also offered by its parts.
SELECT DISTINCT s.stage, s.stage_kind
FROM stages s JOIN runs r USING (run_id)
WHERE r.game = $game AND s.stage IS NOT NULL
ORDER BY 1, 2
