-- The games whose dictionaries came, also where runs are missing yet; a run with a tag is one of which it is known who played it.
SELECT d.game, d.firmware, coalesce(any_value(p.runs), 0)::BIGINT AS runs,
    coalesce(any_value(p.tagged), 0)::BIGINT AS tagged_runs, count(DISTINCT b.label)::BIGINT AS builds
FROM (SELECT game, max_by(firmware, dictionary_id) AS firmware FROM dictionaries GROUP BY game) d
LEFT JOIN builds b USING (game)
LEFT JOIN (SELECT game, count(*) AS runs, count_if(tagged) AS tagged FROM runs GROUP BY game) p USING (game)
GROUP BY d.game, d.firmware
ORDER BY d.game
