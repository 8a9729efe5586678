-- The builds of a game that have runs, in the order in which they were first played.
SELECT label AS build FROM builds WHERE game = $game AND build_id IN (SELECT build_id FROM runs) ORDER BY place
