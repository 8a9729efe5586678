-- The game's own kinds of events with a role.
SELECT DISTINCT k.kind, k.role
FROM kinds k JOIN dictionaries d USING (dictionary_id)
WHERE d.game = $game AND k.role IS NOT NULL
ORDER BY ALL
