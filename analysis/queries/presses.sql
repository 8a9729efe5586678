-- Presses of the chosen runs with who pressed.
SELECT c.player, p.run_id, p.at_us AS press_us, p.lane::DOUBLE AS lane
FROM press_events p JOIN chosen c USING (run_id)
ORDER BY p.run_id, p.at_us
