-- Every piece that appeared in the chosen runs, when the piece came to rest, and where; the level in force by then.
, appeared AS (
    SELECT p.run_id, p.at_us, p.piece, p.level, lead(p.at_us) OVER (PARTITION BY p.run_id ORDER BY p.at_us) AS next_us
    FROM piece_events p WHERE p.run_id IN (SELECT run_id FROM chosen)
), labelled AS (
    SELECT l.dictionary_id, l.value, min(l.label) AS piece_label
    FROM labels l
    JOIN fields f ON f.dictionary_id = l.dictionary_id AND f.kind = l.kind AND f.field = l.field AND f.role = 'piece'
    GROUP BY ALL
), rested AS (
    SELECT k.run_id, k.at_us, k.x, k.y FROM landed_events k WHERE k.run_id IN (SELECT run_id FROM chosen)
)
SELECT c.player, a.run_id, a.at_us, a.piece::DOUBLE AS piece, any_value(b.piece_label) AS piece_label,
    a.level::DOUBLE AS level, min(r.at_us) - a.at_us AS rest_us, arg_min(r.x, r.at_us)::DOUBLE AS x,
    arg_min(r.y, r.at_us)::DOUBLE AS y
FROM appeared a
JOIN chosen c USING (run_id)
JOIN builds USING (build_id)
LEFT JOIN labelled b ON b.dictionary_id = builds.dictionary_id AND b.value = a.piece
-- What rests in the tick in which this piece appears is the one before it.
LEFT JOIN rested r ON r.run_id = a.run_id AND r.at_us > a.at_us AND (a.next_us IS NULL OR r.at_us <= a.next_us)
GROUP BY c.player, a.run_id, a.at_us, a.piece, a.level
ORDER BY a.run_id, a.at_us
