-- Time alive at one life, tier and level of the chosen runs, in the order in which it was played.
SELECT sp.run_id, sp.stage_id, s.stage, s.stage_kind, s.cleared, sp.tier, sp.level, sp.alive_us, sp.ended_by
FROM chosen c
JOIN spells sp USING (run_id)
LEFT JOIN stages s ON s.stage_id = sp.stage_id
ORDER BY sp.run_id, sp.start_us, sp.end_us, sp.life
