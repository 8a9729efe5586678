-- What was told of each capture beside its counts, in the order in which it came.
SELECT capture_id, about, byte_offset, what, remedy
FROM notices
ORDER BY capture_id, rowid
LIMIT 20000
