-- How many shots were fired within each life of the chosen runs. Every life is told twice: as a whole (by_stage false;
-- where a stage is chosen, from entering it), and from entering each stage, where leaving it cuts short (by_stage true;
-- as in lives.sql). In one query, because finding the events costs most of the time. Without lives whose beginning was lost.
, parts AS (
    SELECT p.run_id, p.life, told.by_stage, min(p.start_us) AS start_us, max(p.end_us) AS end_us,
        bool_or(p.ended_by = 'death') AS died,
        max_by(s.stage, p.end_us)::DOUBLE AS stage, max_by(s.stage_kind, p.end_us)::DOUBLE AS stage_kind
    FROM spells p
    JOIN chosen c USING (run_id)
    LEFT JOIN stages s ON s.stage_id = p.stage_id
    ANTI JOIN lives i ON i.run_id = p.run_id AND i.number = p.life AND i.inferred
    CROSS JOIN (VALUES (false), (true)) told(by_stage)
    WHERE ($stage::BIGINT IS NULL OR s.stage = $stage::BIGINT)
      AND ($stage_kind::BIGINT IS NULL OR s.stage_kind = $stage_kind::BIGINT)
    GROUP BY p.run_id, p.life, told.by_stage,
        CASE WHEN $stage::BIGINT IS NULL AND $stage_kind::BIGINT IS NULL AND NOT told.by_stage THEN NULL ELSE p.stage_id END
), fired AS (
    SELECT e.run_id, e.at_us FROM shot_events e WHERE e.run_id IN (SELECT run_id FROM chosen)
), by_part AS (
    SELECT p.run_id, p.life, p.by_stage, p.start_us, count(*) AS shots
    FROM (SELECT * FROM fired CROSS JOIN (VALUES (false), (true)) told(by_stage)) e
    ASOF JOIN parts p ON e.run_id = p.run_id AND e.by_stage = p.by_stage AND e.at_us >= p.start_us
    WHERE e.at_us <= p.end_us
    GROUP BY p.run_id, p.life, p.by_stage, p.start_us
)
SELECT p.run_id, c.player, c.build, c.attempt, c.player_group, c.first_time::DOUBLE AS first_time, p.stage, p.stage_kind,
    p.life, p.by_stage, p.died, coalesce(b.shots, 0)::DOUBLE AS shots
FROM parts p
JOIN chosen c USING (run_id)
LEFT JOIN by_part b ON b.run_id = p.run_id AND b.life = p.life AND b.by_stage = p.by_stage AND b.start_us = p.start_us
ORDER BY p.by_stage, p.run_id, p.life, p.start_us
