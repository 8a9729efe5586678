-- What the logs of the chosen runs hold that tells what kind of game it is: the roles of its own events that were seen, how
-- many stages and how many levels. One row. Each role is looked for until its first event.
, seen AS (
    (SELECT 'enemy_shot' AS role FROM enemy_shot_events SEMI JOIN chosen USING (run_id) LIMIT 1)
    UNION ALL
    (SELECT 'pickup' AS role FROM pickup_events SEMI JOIN chosen USING (run_id) LIMIT 1)
    UNION ALL
    (SELECT 'piece' AS role FROM piece_events SEMI JOIN chosen USING (run_id) LIMIT 1)
    UNION ALL
    (SELECT 'landed' AS role FROM landed_events SEMI JOIN chosen USING (run_id) LIMIT 1)
    UNION ALL
    (SELECT 'rows' AS role FROM rows_events SEMI JOIN chosen USING (run_id) LIMIT 1)
    UNION ALL
    (SELECT 'trial' AS role FROM trial_events SEMI JOIN chosen USING (run_id) LIMIT 1)
    UNION ALL
    (SELECT 'note' AS role FROM note_events SEMI JOIN chosen USING (run_id) LIMIT 1)
    UNION ALL
    (SELECT 'verdict' AS role FROM verdict_events SEMI JOIN chosen USING (run_id) LIMIT 1)
)
SELECT
    (SELECT coalesce(list(role), []) FROM seen) AS seen,
    (SELECT count(DISTINCT (stage, stage_kind)) FROM stages SEMI JOIN chosen USING (run_id)) AS stages,
    (SELECT count(DISTINCT level) FROM spells SEMI JOIN chosen USING (run_id)) AS levels
