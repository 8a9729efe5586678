-- The most flashes of the screen that any one second held, run by run: WCAG 2.2, success criterion 2.3.1, allows three.
-- A second that begins with each flash is enough: the fullest second can be moved to begin with one.
WITH logged AS (
    SELECT f.run_id, f.at_us FROM flash_events f JOIN runs r USING (run_id) WHERE r.game = $game
), counted AS (
    SELECT run_id, count(*) OVER (
        PARTITION BY run_id ORDER BY at_us RANGE BETWEEN CURRENT ROW AND 999999 FOLLOWING
    ) AS within_a_second
    FROM logged
)
SELECT coalesce(max(within_a_second), 0)::BIGINT AS most, count(*)::BIGINT AS flashes,
    count(DISTINCT run_id) FILTER (within_a_second > 3)::BIGINT AS runs_over
FROM counted
