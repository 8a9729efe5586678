-- Logged positions in order: of all chosen runs, or of as many whole runs as have $most of them, spread evenly over them
-- (by multiples of the golden ratio).
, counted AS (
    SELECT run_id, count(*) AS positions FROM position_events WHERE run_id IN (SELECT run_id FROM chosen)
    GROUP BY run_id
), kept AS (
    SELECT run_id
    FROM (SELECT run_id, positions, sum(positions) OVER (ORDER BY run_id % 2147483647 * 2654435761 % 4294967296) AS until FROM counted)
    WHERE until - positions < $most
)
SELECT c.power_up_id, p.run_id, p.at_us, p.x::DOUBLE AS x, p.y::DOUBLE AS y
FROM position_events p JOIN chosen c USING (run_id)
WHERE p.x IS NOT NULL AND p.run_id IN (SELECT run_id FROM kept)
ORDER BY p.run_id, p.at_us
LIMIT 4 * $most
