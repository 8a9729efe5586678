-- Every capture of the study, in the order in which they came.
SELECT capture_id, name, bytes, received_at::TEXT AS received_at, events,
    (SELECT count(*) FROM all_runs r WHERE r.capture_id = c.capture_id AND NOT r.withheld)::BIGINT AS runs
FROM captures c
ORDER BY capture_id
