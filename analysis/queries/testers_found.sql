-- How the testers were found, as was said last.
SELECT found FROM testers ORDER BY noted_at DESC LIMIT 1
