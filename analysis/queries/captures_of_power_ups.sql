-- The file in which each power-up was recorded.
SELECT p.power_up_id, c.name AS capture
FROM power_ups p JOIN captures c USING (capture_id)
ORDER BY p.power_up_id
