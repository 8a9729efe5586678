-- Per player: slow frames, deaths within $reach_us after one, all deaths, the time alive and how much of it lies within
-- $reach_us after a slow frame. A slow frame while nobody was alive, or that hits no life, touches nothing.
, slow AS (
    SELECT e.run_id, e.at_us, e.duration,
        lead(e.at_us) OVER (PARTITION BY e.run_id ORDER BY e.at_us) AS next_us
    FROM slow_frame_events e WHERE e.run_id IN (SELECT run_id FROM chosen)
), slow_sums AS (
    SELECT run_id, count(*) AS slow_frames FROM slow GROUP BY run_id
), touched_sums AS (
    SELECT s.run_id,
        sum(least(coalesce(s.next_us, l.end_us), l.end_us, s.at_us + $reach_us) - greatest(s.at_us, l.start_us)) AS touched_us
    FROM slow s
    JOIN lives l ON l.run_id = s.run_id AND l.end_us > s.at_us
        AND l.start_us < least(coalesce(s.next_us, l.end_us), s.at_us + $reach_us)
    GROUP BY s.run_id
), deaths AS (
    SELECT l.run_id, l.end_us FROM lives l WHERE l.died AND l.run_id IN (SELECT run_id FROM chosen)
), touched AS (
    SELECT d.run_id, count(*) AS deaths, count(*) FILTER (d.end_us - s.at_us <= $reach_us) AS touched
    FROM deaths d ASOF LEFT JOIN slow s ON d.run_id = s.run_id AND d.end_us >= s.at_us
    GROUP BY d.run_id
)
SELECT c.player, sum(coalesce(s.slow_frames, 0))::BIGINT AS slow_frames, sum(c.alive_us)::DOUBLE / 1e6 AS alive_s,
    sum(coalesce(u.touched_us, 0))::DOUBLE / 1e6 AS touched_s, sum(coalesce(t.deaths, 0))::BIGINT AS deaths,
    sum(coalesce(t.touched, 0))::BIGINT AS touched_deaths
FROM chosen c LEFT JOIN slow_sums s USING (run_id) LEFT JOIN touched_sums u USING (run_id) LEFT JOIN touched t USING (run_id)
GROUP BY c.player
ORDER BY c.player
