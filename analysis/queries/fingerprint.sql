-- What the findings of this study rest on, one line a capture and one a note, in a fixed order.
SELECT sha256 AS line FROM captures
UNION ALL
SELECT concat_ws('|', capture_key, run_number, noted_at, player, valid, reason) FROM run_notes
UNION ALL
SELECT concat_ws('|', sha256, number, withheld, given_player, candidates, given_remark, began_at) FROM all_runs JOIN captures USING (capture_id)
WHERE withheld OR given_player IS NOT NULL OR candidates IS NOT NULL OR given_remark IS NOT NULL OR began_at IS NOT NULL
UNION ALL
SELECT concat_ws('|', noted_at, game, earlier, later) FROM build_order
UNION ALL
SELECT concat_ws('|', noted_at, game, what, name, role) FROM role_notes
UNION ALL
SELECT concat_ws('|', c.sha256, b.roles) FROM built_roles b JOIN captures c USING (capture_id) WHERE NOT b.current
UNION ALL
SELECT concat_ws('|', player, player_group, team, first_time) FROM players
UNION ALL
SELECT concat_ws('|', player, game, attempt, rating) FROM ratings
ORDER BY line
