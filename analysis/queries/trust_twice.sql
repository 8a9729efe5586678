-- Pairs of captures of which at least half the runs are the same to the microsecond: copies of one recording.
WITH run AS (
    SELECT r.capture_id, r.sha256, r.build_id, r.start_us, r.end_us, r.deaths, hash(r.score, r.logged_player, r.seed, p.nonce) AS own
    FROM runs r JOIN power_ups p USING (power_up_id)
    WHERE r.game = $game AND r.valid
), had AS (
    SELECT capture_id, count(*) AS runs FROM run GROUP BY capture_id
), shared AS (
    SELECT a.capture_id AS one, b.capture_id AS other, count(*) AS runs
    FROM run a JOIN run b USING (build_id, start_us, end_us, deaths, own)
    WHERE a.sha256 < b.sha256
    GROUP BY ALL
)
SELECT s.one, s.other, s.runs::BIGINT AS runs
FROM shared s JOIN had h ON h.capture_id = s.one JOIN had i ON i.capture_id = s.other
WHERE 2 * s.runs >= least(h.runs, i.runs)
ORDER BY 1, 2
