-- How many events of a role a game logged, and in how many of them each role of fields has a value. One row.
-- `view` is the role's view: death_events.
SELECT count(*) AS events, count(COLUMNS(* EXCLUDE (run_id, stage_id, at_us, power_up_id, dictionary_id, kind)))
FROM query_table($view) e
WHERE e.dictionary_id IN (SELECT dictionary_id FROM dictionaries WHERE game = $game)
