-- The last run of each build of a game that the audience played in each log, with $include_team that anybody played: its
-- number there and when it came (NULL: not known). The builds are in the order that holds where nothing tells which was played first.
SELECT r.build, r.build_key, r.sha256 AS log, max(r.number)::BIGINT AS number, max(epoch_us(r.played_at))::DOUBLE AS played_us
FROM runs r JOIN builds b USING (build_id)
WHERE r.game = $game AND r.valid AND ($include_team OR NOT r.team)
GROUP BY r.build, r.build_key, r.sha256, b.place
ORDER BY b.place, log
