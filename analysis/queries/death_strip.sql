-- Everything logged in the last $before_us of one life and a moment after it, for one strip.
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
    UNION ALL SELECT run_id, at_us, 'slow_frame', NULL, NULL, duration, NULL FROM slow_frame_events
    UNION ALL SELECT run_id, at_us, 'death', x, y, cause, NULL FROM death_events
)
SELECT e.what, e.at_us - life.end_us AS before_us, e.x::DOUBLE AS x, e.y::DOUBLE AS y, e.value::DOUBLE AS value,
    e.lane::DOUBLE AS lane
FROM seen e JOIN life ON e.run_id = life.run_id
WHERE e.at_us >= life.end_us - $before_us AND e.at_us <= life.end_us + $after_us
ORDER BY e.at_us
LIMIT 5000
