-- The captures of a game with their damage, and those of which no dictionary could be read, in the order of their places;
-- without a game, all.
WITH own AS (
    SELECT capture_id, bool_or(d.game = $game) AS of_game, count(*) AS power_ups, max(abs(p.drift_ppm)) AS most_drift_ppm,
        count(d.dictionary_id) AS known
    FROM power_ups p LEFT JOIN dictionaries d USING (dictionary_id) GROUP BY capture_id
), run AS (
    SELECT capture_id, count(*) AS runs, count(*) FILTER (damaged) AS damaged_runs,
        count(*) FILTER (ending = 'cut') AS cut_runs, count(*) FILTER (begun <> 'seen') AS lost_starts,
        count(*) FILTER (open) AS open_runs
    FROM runs GROUP BY capture_id
)
SELECT c.capture_id, c.name, c.bytes, c.packets, c.events, coalesce(r.runs, 0)::BIGINT AS runs, c.rejected_packets,
    c.missing_packets, c.dropped_events, c.tail_bytes, c.unread_bytes, c.newer_packets, c.refusal,
    coalesce(r.damaged_runs, 0)::BIGINT AS damaged_runs, coalesce(r.cut_runs, 0)::BIGINT AS cut_runs,
    coalesce(r.lost_starts, 0)::BIGINT AS lost_starts, coalesce(r.open_runs, 0)::BIGINT AS open_runs,
    coalesce(o.power_ups, 0)::BIGINT AS power_ups, o.most_drift_ppm
FROM captures c LEFT JOIN own o USING (capture_id) LEFT JOIN run r USING (capture_id)
WHERE coalesce(o.of_game, true) OR o.known = 0
ORDER BY c.place
