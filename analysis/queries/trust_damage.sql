-- The damage of the captures of a game, where in the log and of what kind.
SELECT d.capture_id, d.byte_offset, d.reason, d.packets, c.bytes
FROM damage d JOIN captures c USING (capture_id)
WHERE d.capture_id IN (
    SELECT p.capture_id FROM power_ups p JOIN dictionaries USING (dictionary_id) WHERE game = $game
)
ORDER BY c.place, d.byte_offset, d.reason
LIMIT 5000
