-- Pairs of captures that hold the same run to the microsecond: two recordings or copies of one playtest.
SELECT a.capture_id AS one, b.capture_id AS other, count(*)::BIGINT AS runs
FROM runs a JOIN runs b
  ON a.game = b.game AND a.build_id = b.build_id AND a.start_us = b.start_us AND a.end_us = b.end_us
 AND a.deaths = b.deaths AND a.capture_id < b.capture_id AND a.end_us > a.start_us
WHERE a.game = $game AND a.valid AND b.valid
GROUP BY ALL
ORDER BY 1, 2
