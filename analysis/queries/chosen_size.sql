-- How much the selection rests on.
SELECT count(*)::BIGINT AS runs, count(DISTINCT player)::BIGINT AS players,
    count(*) FILTER (damaged)::BIGINT AS damaged
FROM chosen
