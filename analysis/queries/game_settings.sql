-- The tunables of a game's builds, as the log declared them.
SELECT b.label AS build, b.firmware, t.tunable, t.role, t.value, t.low, t.high, t.step, t.unit
FROM builds b JOIN tunables t USING (build_id)
WHERE b.game = $game
ORDER BY b.place, t.number
