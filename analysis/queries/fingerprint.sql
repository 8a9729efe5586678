-- What the findings of this study rest on, one line a capture and one a note, in a fixed order.
SELECT sha256 AS line FROM captures
UNION ALL
SELECT concat_ws('|', capture_key, run_number, noted_at, player, valid, reason) FROM run_notes
ORDER BY line
