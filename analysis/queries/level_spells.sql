-- Time alive and deaths of the chosen runs by level, with the drop interval the build has there (the narrowest scope).
, scoped AS (
    SELECT t.build_id, t.level, 
        t.value * CASE t.unit WHEN 'us' THEN 0.001 WHEN 'ms' THEN 1 WHEN 'ticks' THEN 1000.0 / d.clock_hz END AS interval_ms
    FROM tunables t JOIN builds USING (build_id) JOIN dictionaries d USING (dictionary_id)
    WHERE t.role = 'drop_interval' AND t.stage IS NULL AND t.stage_kind IS NULL AND t.song IS NULL AND t.grade IS NULL
)
SELECT c.player, c.run_id, c.build, p.level::DOUBLE AS level, sum(p.alive_us)::DOUBLE / 1e6 AS alive_s,
    count(*) FILTER (p.ended_by = 'death')::BIGINT AS deaths,
    coalesce(any_value(own.interval_ms), any_value(every.interval_ms))::DOUBLE AS interval_ms
FROM spells p
JOIN chosen c USING (run_id)
LEFT JOIN scoped own ON own.build_id = c.build_id AND own.level = p.level
LEFT JOIN scoped every ON every.build_id = c.build_id AND every.level IS NULL
WHERE p.level IS NOT NULL
GROUP BY c.player, c.run_id, c.build, p.level
ORDER BY c.run_id, p.level
