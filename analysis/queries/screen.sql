-- The console's screen, the largest where dictionaries differ.
SELECT max(d.screen_width)::BIGINT AS width, max(d.screen_height)::BIGINT AS height
FROM dictionaries d
WHERE d.dictionary_id IN (SELECT b.dictionary_id FROM builds b JOIN chosen c USING (build_id))
