-- Everything logged in the last $before_us of one life, for one strip; its end is the last thing on it.
WITH life AS (
    SELECT run_id, end_us FROM lives WHERE life_id = $life_id
), seen AS (
    SELECT run_id, at_us, 'position' AS what, x, y, NULL::BIGINT AS value, NULL::BIGINT AS lane FROM position_events
    UNION ALL SELECT run_id, at_us, 'shot', x, y, NULL, NULL FROM shot_events
    UNION ALL SELECT run_id, at_us, 'enemy_shot', x, y, aimed, NULL FROM enemy_shot_events
    UNION ALL SELECT run_id, at_us, 'hit', x, y, NULL, NULL FROM hit_events
    UNION ALL SELECT run_id, at_us, 'pickup', x, y, tier, NULL FROM pickup_events
    UNION ALL SELECT run_id, at_us, 'input', NULL, NULL, value, lane FROM input_events
    UNION ALL SELECT run_id, at_us, 'press', NULL, NULL, NULL, lane FROM press_events
    UNION ALL SELECT run_id, at_us, 'note', NULL, NULL, NULL, lane FROM note_events
    UNION ALL SELECT run_id, at_us, 'landed', x, y, piece, NULL FROM landed_events
    UNION ALL SELECT run_id, at_us, 'rows', NULL, NULL, rows, NULL FROM rows_events
    UNION ALL SELECT run_id, at_us, 'slow_frame', NULL, NULL, duration, NULL FROM slow_frame_events
    UNION ALL SELECT run_id, at_us, 'death', x, y, cause, NULL FROM death_events
), near AS (
    SELECT e.*, life.end_us
    FROM seen e JOIN life ON e.run_id = life.run_id
    WHERE e.at_us >= life.end_us - $before_us AND e.at_us <= life.end_us
    -- A log may hold any number of events; those nearest to the end count.
    ORDER BY e.at_us DESC
    LIMIT 5000
)
SELECT what, at_us - end_us AS before_us, x::DOUBLE AS x, y::DOUBLE AS y, value::DOUBLE AS value, lane::DOUBLE AS lane
FROM near
ORDER BY at_us
