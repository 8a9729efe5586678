-- What the logs of the chosen runs hold that tells what kind of game it is. One row.
SELECT
    EXISTS (SELECT 1 FROM enemy_shot_events WHERE run_id IN (SELECT run_id FROM chosen)) AS enemy_shot,
    EXISTS (SELECT 1 FROM pickup_events WHERE run_id IN (SELECT run_id FROM chosen)) AS pickup,
    EXISTS (SELECT 1 FROM piece_events WHERE run_id IN (SELECT run_id FROM chosen)) AS piece,
    EXISTS (SELECT 1 FROM landed_events WHERE run_id IN (SELECT run_id FROM chosen)) AS landed,
    EXISTS (SELECT 1 FROM rows_events WHERE run_id IN (SELECT run_id FROM chosen)) AS rows,
    EXISTS (SELECT 1 FROM trial_events WHERE run_id IN (SELECT run_id FROM chosen)) AS trial,
    EXISTS (SELECT 1 FROM note_events WHERE run_id IN (SELECT run_id FROM chosen)) AS note,
    EXISTS (SELECT 1 FROM verdict_events WHERE run_id IN (SELECT run_id FROM chosen)) AS verdict,
    (SELECT count(DISTINCT (stage, stage_kind)) FROM stages WHERE run_id IN (SELECT run_id FROM chosen)) AS stages,
    (SELECT count(DISTINCT level) FROM spells WHERE run_id IN (SELECT run_id FROM chosen)) AS levels
