-- What the study holds by one capture alone. Players and their attempts are counted within each game.
WITH mine AS (SELECT * FROM runs WHERE capture_id = $capture), others AS (SELECT * FROM runs WHERE capture_id <> $capture)
SELECT
    (SELECT count(DISTINCT (game, player)) FROM mine) AS players,
    (SELECT count(DISTINCT (game, player)) FROM mine WHERE (game, player) IN (SELECT (game, player) FROM others))
        AS players_elsewhere_too,
    (SELECT coalesce(list(DISTINCT game ORDER BY game), []) FROM mine WHERE game NOT IN (SELECT game FROM others)) AS games,
    (SELECT coalesce(list(DISTINCT game || ' ' || build ORDER BY game || ' ' || build), []) FROM mine
        WHERE build_id NOT IN (SELECT build_id FROM others)) AS builds,
    (SELECT count(*) FROM run_notes JOIN captures USING (capture_key) WHERE capture_id = $capture) AS notes
