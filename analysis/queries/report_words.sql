-- What the authors of the report wrote themselves, the newest first.
SELECT words_json FROM report_words ORDER BY noted_at DESC
