-- The event roles that the chosen runs' games declare: what could have been logged.
SELECT DISTINCT k.role
FROM kinds k
WHERE k.role IS NOT NULL AND k.role <> '-'
  AND k.dictionary_id IN (SELECT b.dictionary_id FROM builds b JOIN chosen c USING (build_id))
ORDER BY 1
