-- The tunables of the builds of a game as the log declared them.
SELECT b.build_id, b.label, b.firmware, t.tunable, t.role, t.value, t.low, t.high, t.step, t.unit,
    t.stage, t.stage_kind, t.song, t.level, t.grade
FROM builds b LEFT JOIN tunables t USING (build_id)
WHERE b.game = $game
ORDER BY b.place, t.number
