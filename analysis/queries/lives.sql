-- Time alive from each (re)spawn to the death or what cut it short; where a stage is chosen or $by_stage is true, from
-- entering the stage instead, and leaving it cuts short: a life through two stages is two rows. A life whose beginning was
-- lost is left out: how long it lasted is not known.
SELECT c.run_id, c.player, c.build, c.attempt, c.damaged, c.player_group, c.first_time::DOUBLE AS first_time, p.life,
    min(p.start_us)::BIGINT AS start_us, max(p.end_us)::BIGINT AS end_us, sum(p.alive_us)::BIGINT AS alive_us,
    -- A death is always the last, also where another stretch ended in the same tick.
    CASE WHEN bool_or(p.ended_by = 'death') THEN 'death' ELSE max_by(p.ended_by, p.end_us) END AS ended_by, c.ending,
    max_by(s.stage, p.end_us)::DOUBLE AS stage, max_by(s.stage_kind, p.end_us)::DOUBLE AS stage_kind,
    max_by(p.tier, p.end_us)::DOUBLE AS tier
FROM spells p
JOIN chosen c USING (run_id)
LEFT JOIN stages s ON s.stage_id = p.stage_id
ANTI JOIN lives i ON i.run_id = p.run_id AND i.number = p.life AND i.inferred
WHERE ($stage::BIGINT IS NULL OR s.stage = $stage::BIGINT)
  AND ($stage_kind::BIGINT IS NULL OR s.stage_kind = $stage_kind::BIGINT)
GROUP BY c.run_id, c.player, c.build, c.attempt, c.damaged, c.player_group, c.first_time, c.ending, p.life,
    CASE WHEN $stage::BIGINT IS NULL AND $stage_kind::BIGINT IS NULL AND NOT $by_stage THEN NULL ELSE p.stage_id END
ORDER BY c.run_id, p.life, start_us
