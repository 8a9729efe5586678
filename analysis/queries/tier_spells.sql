-- Time alive and deaths of the chosen runs by stage, kind and tier of the weapon.
SELECT c.player, c.run_id, s.stage::DOUBLE AS stage, s.stage_kind::DOUBLE AS stage_kind, p.tier::DOUBLE AS tier,
    sum(p.alive_us)::DOUBLE / 1e6 AS alive_s, count(*) FILTER (p.ended_by = 'death')::BIGINT AS deaths
FROM spells p
JOIN chosen c USING (run_id)
JOIN stages s ON s.stage_id = p.stage_id
WHERE ($stage::BIGINT IS NULL OR s.stage = $stage::BIGINT)
  AND ($stage_kind::BIGINT IS NULL OR s.stage_kind = $stage_kind::BIGINT)
GROUP BY ALL
ORDER BY ALL
