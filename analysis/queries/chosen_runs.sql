-- The runs a Selection means: none whose player is open, for it would count for the wrong one, or twice. Every other query of a selection starts FROM chosen.
SELECT *
FROM runs
WHERE game = $game AND valid AND NOT open
  AND ($builds IS NULL OR list_contains($builds::TEXT[], build))
  AND ($players IS NULL OR list_contains($players::TEXT[], player))
  AND ($groups IS NULL OR list_contains($groups::TEXT[], player_group))
  AND ($first_attempt IS NULL OR attempt >= $first_attempt::INTEGER)
  AND ($last_attempt IS NULL OR attempt <= $last_attempt::INTEGER)
  AND ($include_team OR NOT team)
