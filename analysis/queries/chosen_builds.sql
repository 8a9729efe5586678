-- The builds of the chosen runs, in the order in which they were first played.
SELECT c.build FROM chosen c JOIN builds b USING (build_id) GROUP BY c.build ORDER BY min(b.place), c.build
