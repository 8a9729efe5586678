-- What logs are known by, whatever they are called.
SELECT capture_key FROM captures ORDER BY capture_key
