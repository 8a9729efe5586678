-- One life, with its run and how it ended.
SELECT l.life_id, l.run_id, r.player, r.game, r.build, r.attempt, l.number AS life, l.died, l.end_us,
    s.stage::DOUBLE AS stage, s.stage_kind::DOUBLE AS stage_kind, l.x::DOUBLE AS x, l.y::DOUBLE AS y,
    l.cause::DOUBLE AS cause, l.alive_us, l.shot_ago_us::DOUBLE AS shot_ago_us
FROM lives l JOIN runs r USING (run_id) LEFT JOIN stages s ON s.stage_id = l.stage_id
WHERE l.life_id = $life_id
