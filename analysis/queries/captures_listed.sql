-- Every capture with its damage, the newest first.
SELECT capture_id, name, sha256, bytes, received_at::TEXT AS received_at, events, packets, rejected_packets,
    missing_packets, dropped_events, tail_bytes, unread_bytes, newer_packets, refusal,
    (SELECT count(*) FROM all_runs r WHERE r.capture_id = c.capture_id AND NOT r.withheld)::BIGINT AS runs
FROM captures c
ORDER BY ingested_at DESC, capture_id DESC
LIMIT 500
