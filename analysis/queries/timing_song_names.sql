-- What the game calls its songs, where it labels them.
SELECT DISTINCT l.value::BIGINT AS song, l.label
FROM labels l
JOIN fields f ON f.dictionary_id = l.dictionary_id AND f.kind = l.kind AND f.field = l.field
JOIN dictionaries d ON d.dictionary_id = l.dictionary_id
WHERE d.game = $game AND f.role = 'song'
ORDER BY song, label
