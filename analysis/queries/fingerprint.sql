-- What the findings of this study rest on, one line a capture and one a note, in a fixed order.
SELECT sha256 AS line FROM captures
UNION ALL
SELECT concat_ws('|', capture_key, run_number, noted_at, player, valid, reason) FROM run_notes
UNION ALL
SELECT concat_ws('|', capture_id, number, given_player, given_remark) FROM all_runs
WHERE given_player IS NOT NULL OR given_remark IS NOT NULL
UNION ALL
SELECT concat_ws('|', player, player_group, team, first_time) FROM players
UNION ALL
SELECT concat_ws('|', player, game, attempt, rating) FROM ratings
ORDER BY line
