-- The corrections of roles that hold for a game, the oldest first; role NULL: none.
SELECT what, name, nullif(arg_max(coalesce(role, '-'), noted_at), '-') AS role
FROM role_notes
WHERE game = $game
GROUP BY what, name
ORDER BY max(noted_at)
