-- The games of the study, most runs first, with what the start page says of each.
SELECT b.game,
    count(r.run_id)::BIGINT AS runs,
    count(r.run_id) FILTER (NOT r.valid)::BIGINT AS invalid_runs,
    count(r.run_id) FILTER (r.damaged)::BIGINT AS damaged_runs,
    count(DISTINCT r.player) FILTER (r.valid AND NOT r.team AND NOT r.open)::BIGINT AS players,
    count(r.run_id) FILTER (r.valid AND r.team AND NOT r.open)::BIGINT AS maker_runs,
    coalesce(sum(r.alive_us) / 6e7, 0)::DOUBLE AS minutes,
    count(DISTINCT b.label)::BIGINT AS builds
FROM (SELECT DISTINCT game, label FROM builds) b LEFT JOIN runs r ON r.game = b.game AND r.build = b.label
GROUP BY b.game
ORDER BY runs DESC, b.game
