-- Presses with who pressed: of all chosen runs, or of as many whole runs as have $most presses, spread evenly over them
-- (by multiples of the golden ratio).
, counted AS (
    SELECT run_id, count(*) AS presses FROM press_events WHERE run_id IN (SELECT run_id FROM chosen) GROUP BY run_id
), kept AS (
    SELECT run_id
    FROM (SELECT run_id, presses, sum(presses) OVER (ORDER BY run_id % 2147483647 * 2654435761 % 4294967296) AS until FROM counted)
    WHERE until - presses < $most
)
SELECT c.player, p.run_id, p.at_us AS press_us, p.lane::DOUBLE AS lane
FROM press_events p JOIN chosen c USING (run_id)
WHERE p.run_id IN (SELECT run_id FROM kept)
ORDER BY p.run_id, p.at_us
