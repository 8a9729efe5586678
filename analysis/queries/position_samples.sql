-- Logged positions of the chosen runs in order.
SELECT c.power_up_id, p.run_id, p.at_us, p.x::DOUBLE AS x, p.y::DOUBLE AS y
FROM position_events p JOIN chosen c USING (run_id)
WHERE p.x IS NOT NULL
ORDER BY p.run_id, p.at_us
LIMIT $most
