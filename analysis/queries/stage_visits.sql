-- Every visit of a stage by the chosen runs, in order, with how it ended: cleared, died_out, quit, cut or left.
SELECT c.run_id, c.player, c.build, c.attempt, c.player_group, c.first_time::DOUBLE AS first_time, s.stage_id, s.visit,
    s.stage, s.stage_kind, s.song::DOUBLE AS song, s.alive_us, s.deaths, s.lives_in::DOUBLE AS lives_in,
    s.tier_in::DOUBLE AS tier_in, s.start_us,
    CASE
        WHEN s.cleared THEN 'cleared'
        -- A game that logs no ends of stages: who comes to a later part got through this one.
        WHEN s.cleared IS NULL AND lead(2 * s.stage + s.stage_kind) OVER (PARTITION BY s.run_id ORDER BY s.visit)
            > 2 * s.stage + s.stage_kind THEN 'cleared'
        WHEN s.visit < max(s.visit) OVER (PARTITION BY s.run_id) THEN 'left'
        WHEN c.ending = 'finished' THEN 'cleared'
        WHEN c.ending = 'game_over' THEN 'died_out'
        ELSE c.ending
    END AS outcome,
    -- Of the last death in the visit, how long before the visit ended it came.
    (s.end_us - (SELECT max(l.end_us) FROM lives l WHERE l.stage_id = s.stage_id AND l.died))::DOUBLE / 1e6
        AS since_death_s
FROM stages s JOIN chosen c USING (run_id)
ORDER BY c.run_id, s.visit
