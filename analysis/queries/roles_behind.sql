-- Logs of a game whose runs were built with other roles than now hold: they are to be read again.
SELECT DISTINCT c.name
FROM built_roles b JOIN captures c USING (capture_id) JOIN dictionaries d USING (dictionary_id)
WHERE d.game = $game AND NOT b.current
ORDER BY c.name
