-- What every quit run looked like when it was given up, and every other run when it ended: the last deaths before.
, ends AS (
    SELECT c.run_id, c.player, c.attempt, c.ending, c.end_us, c.first_time,
        max_by(s.stage, s.visit) AS stage, max_by(s.stage_kind, s.visit) AS stage_kind
    FROM chosen c LEFT JOIN stages s USING (run_id)
    GROUP BY ALL
), died AS (
    SELECT l.run_id, count(*) AS deaths, max(l.end_us) AS last_us, arg_max(l.lives_left, l.number) AS lives_left
    FROM lives l JOIN chosen USING (run_id) WHERE l.died GROUP BY l.run_id
), here AS (
    SELECT l.run_id, count(*) AS deaths_here
    FROM lives l JOIN stages s ON s.stage_id = l.stage_id
    JOIN ends e ON e.run_id = l.run_id AND e.stage = s.stage AND e.stage_kind = s.stage_kind
    WHERE l.died GROUP BY l.run_id
)
SELECT e.run_id, e.player, e.attempt, e.ending, e.stage::DOUBLE AS stage, e.stage_kind::DOUBLE AS stage_kind,
    coalesce(d.deaths, 0)::BIGINT AS deaths, coalesce(h.deaths_here, 0)::BIGINT AS deaths_here,
    (e.end_us - d.last_us)::DOUBLE / 1e6 AS since_death_s, d.lives_left::DOUBLE AS lives_left
FROM ends e LEFT JOIN died d USING (run_id) LEFT JOIN here h USING (run_id)
ORDER BY e.run_id
