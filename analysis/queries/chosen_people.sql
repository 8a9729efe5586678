-- Who played, for the report: of how many it is known whether they were new, and how many were, how the runs ended, how long all of it took.
SELECT count(DISTINCT player)::BIGINT AS players,
    count(DISTINCT player) FILTER (first_time)::BIGINT AS new_players,
    count(DISTINCT player) FILTER (first_time IS NOT NULL)::BIGINT AS told_players,
    count(DISTINCT player) FILTER (NOT tagged)::BIGINT AS untagged,
    count(*)::BIGINT AS runs,
    count(*) FILTER (ending = 'finished')::BIGINT AS finished,
    count(*) FILTER (ending = 'game_over')::BIGINT AS game_over,
    count(*) FILTER (ending = 'quit')::BIGINT AS quit,
    count(*) FILTER (ending = 'cut')::BIGINT AS cut,
    coalesce(sum(alive_us) / 6e7, 0)::DOUBLE AS minutes
FROM chosen
