-- Raw input samples of the consoles on which the chosen runs were played, also those between runs (a slide that lies
-- still), each with the position logged next after it, at most $longest_us later. Of all power-ups, or of as many whole
-- ones as have $most samples, spread evenly over them (by multiples of the golden ratio).
, counted AS (
    SELECT power_up_id, count(*) AS samples FROM input_events
    WHERE power_up_id IN (SELECT power_up_id FROM chosen) AND value IS NOT NULL
    GROUP BY power_up_id
), kept AS (
    SELECT power_up_id
    FROM (SELECT power_up_id, samples, sum(samples) OVER (ORDER BY power_up_id % 2147483647 * 2654435761 % 4294967296) AS until
          FROM counted)
    WHERE until - samples < $most
), raw AS (
    SELECT i.power_up_id, i.at_us, coalesce(i.lane, 0) AS lane, i.value FROM input_events i
    WHERE i.power_up_id IN (SELECT power_up_id FROM kept) AND i.value IS NOT NULL
), placed AS (
    SELECT power_up_id, at_us, x FROM position_events WHERE power_up_id IN (SELECT power_up_id FROM kept)
), paired AS (
    SELECT r.*, p.at_us AS position_us, p.x
    FROM raw r ASOF LEFT JOIN placed p ON r.power_up_id = p.power_up_id AND r.at_us <= p.at_us
)
SELECT power_up_id, at_us, lane, value::DOUBLE AS value,
    CASE WHEN position_us - at_us <= $longest_us THEN x END::DOUBLE AS x
FROM paired
ORDER BY power_up_id, lane, at_us
LIMIT 4 * $most
