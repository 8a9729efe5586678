-- Windows, input offset and polling period of every build of the game, in microseconds.
SELECT t.build_id, b.label AS build, t.number, t.tunable, t.role, t.value, t.low, t.high, t.step, t.unit,
    t.stage, t.stage_kind, t.song, t.grade,
    CASE t.unit WHEN 'us' THEN 1.0 WHEN 'ms' THEN 1000.0 WHEN 's' THEN 1e6 WHEN 'ticks' THEN 1e6 / d.clock_hz END AS unit_us
FROM tunables t
JOIN builds b USING (build_id)
JOIN dictionaries d USING (dictionary_id)
WHERE b.game = $game AND t.role IN ('window_early', 'window_late', 'input_offset', 'poll_period')
  AND t.level IS NULL  -- a rhythm game's level is not known note by note
ORDER BY b.place, t.number
