-- Stretches of lives at one stage and tier, on the clock of the life: from entry_s to end_s alive since (re)spawn. Lives
-- whose beginning was lost have no such clock and are left out.
SELECT c.player, c.run_id, c.build, p.life, c.attempt, s.stage::DOUBLE AS stage, s.stage_kind::DOUBLE AS stage_kind,
    p.tier::DOUBLE AS tier, p.ended_by = 'death' AS died,
    (sum(p.alive_us) OVER before + 0)::DOUBLE / 1e6 - p.alive_us / 1e6 AS entry_s,
    (sum(p.alive_us) OVER before + 0)::DOUBLE / 1e6 AS end_s
FROM spells p
JOIN chosen c USING (run_id)
LEFT JOIN stages s ON s.stage_id = p.stage_id
ANTI JOIN lives i ON i.run_id = p.run_id AND i.number = p.life AND i.inferred
WINDOW before AS (PARTITION BY p.run_id, p.life ORDER BY p.start_us, p.end_us ROWS UNBOUNDED PRECEDING)
ORDER BY c.run_id, p.life, p.start_us
