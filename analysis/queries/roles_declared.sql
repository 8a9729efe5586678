-- The roles that the logs of a game declare: of each kind of events, alone and with each of its fields.
SELECT DISTINCT k.role AS event, f.role AS field
FROM kinds k JOIN dictionaries d USING (dictionary_id)
LEFT JOIN fields f ON f.dictionary_id = k.dictionary_id AND f.kind = k.kind AND f.role IS NOT NULL
WHERE d.game = $game AND k.role IS NOT NULL
ORDER BY ALL
