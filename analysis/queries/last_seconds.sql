-- What happened around each death in its last $before_us: samples of position, how far they spread, and aimed shots.
, fatal AS (
    SELECT l.life_id, l.run_id, l.end_us
    FROM lives l JOIN chosen USING (run_id) LEFT JOIN stages s ON s.stage_id = l.stage_id
    WHERE l.died
      AND ($stage::BIGINT IS NULL OR s.stage = $stage::BIGINT)
      AND ($stage_kind::BIGINT IS NULL OR s.stage_kind = $stage_kind::BIGINT)
), moved AS (
    SELECT f.life_id, count(*) AS samples, max(p.x) - min(p.x) AS x_spread, max(p.y) - min(p.y) AS y_spread
    FROM fatal f JOIN position_events p
      ON p.run_id = f.run_id AND p.at_us > f.end_us - $before_us AND p.at_us <= f.end_us
    GROUP BY f.life_id
), fired AS (
    SELECT f.life_id, count(*) FILTER (e.aimed = 1) AS aimed_shots
    FROM fatal f JOIN enemy_shot_events e
      ON e.run_id = f.run_id AND e.at_us > f.end_us - $before_us AND e.at_us <= f.end_us
    GROUP BY f.life_id
)
SELECT f.life_id, coalesce(m.samples, 0)::BIGINT AS samples, m.x_spread::DOUBLE AS x_spread,
    m.y_spread::DOUBLE AS y_spread, coalesce(s.aimed_shots, 0)::BIGINT AS aimed_shots,
    -- False where there are shots and of none it is said whether it was aimed.
    (SELECT count(*) = 0 OR count(e.aimed) > 0 FROM enemy_shot_events e JOIN chosen USING (run_id)) AS aim_logged
FROM fatal f LEFT JOIN moved m USING (life_id) LEFT JOIN fired s USING (life_id)
ORDER BY f.life_id
