-- How fast each power-up's clock ran against the PC's, where arrival times were recorded.
SELECT p.capture_id, c.name, p.number::BIGINT AS power_up, p.drift_ppm, (p.last_us - p.first_us) / 1e6 AS seconds
FROM power_ups p JOIN captures c USING (capture_id) JOIN dictionaries d USING (dictionary_id)
WHERE d.game = $game AND p.drift_ppm IS NOT NULL
ORDER BY c.place, p.number
