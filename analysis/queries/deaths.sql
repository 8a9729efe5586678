-- Every death of the chosen runs, with where, when, of what, and what the player had left.
, causes AS (
    SELECT l.dictionary_id, l.value, min(l.label) AS cause_label
    FROM labels l
    JOIN fields f ON f.dictionary_id = l.dictionary_id AND f.kind = l.kind AND f.field = l.field AND f.role = 'cause'
    JOIN kinds k ON k.dictionary_id = l.dictionary_id AND k.kind = l.kind AND k.role = 'death'
    GROUP BY ALL
)
SELECT l.life_id, l.run_id, c.player, c.build, c.attempt, c.damaged, l.number AS life,
    s.stage::DOUBLE AS stage, s.stage_kind::DOUBLE AS stage_kind,
    l.x::DOUBLE AS x, l.y::DOUBLE AS y, l.cause::DOUBLE AS cause, causes.cause_label,
    l.start_us, l.end_us, l.alive_us, l.end_us - c.start_us AS run_us,
    l.lives_left::DOUBLE AS lives_left, l.tier::DOUBLE AS tier, l.level::DOUBLE AS level,
    l.shot_ago_us::DOUBLE AS shot_ago_us, l.inferred
FROM lives l
JOIN chosen c USING (run_id)
JOIN builds b ON b.build_id = c.build_id
LEFT JOIN stages s ON s.stage_id = l.stage_id
LEFT JOIN causes ON causes.dictionary_id = b.dictionary_id AND causes.value = l.cause
WHERE l.died
  AND ($stage::BIGINT IS NULL OR s.stage = $stage::BIGINT)
  AND ($stage_kind::BIGINT IS NULL OR s.stage_kind = $stage_kind::BIGINT)
ORDER BY l.run_id, l.number
