-- question: Where did it come back: how many recurrences and patients are there in each class, by each definition?
-- tables:   recurrences
-- units:    counts
-- caution:  Only what lesions.csv calls a recurrence is one; undecided targets may be what is left of a treated lesion. A patient counts once in each class, so patients may add up to more than there are. Imaging alone does not tell necrosis from progression.
WITH classes AS (
  SELECT 'gebhardt_2014' AS definition, pattern_gebhardt_2014 AS class, recurrence, patient_id, lesion_id
  FROM recurrences
  UNION ALL
  SELECT 'mcdonald_2011', pattern_mcdonald_2011, recurrence, patient_id, lesion_id
  FROM recurrences
  UNION ALL
  SELECT 'lee_1999', pattern_lee_1999, recurrence, patient_id, lesion_id
  FROM recurrences
)
SELECT recurrence, definition, COALESCE(class, 'no share known') AS class,
       COUNT(DISTINCT lesion_id) AS targets, COUNT(DISTINCT patient_id) AS patients
FROM classes
GROUP BY recurrence, definition, COALESCE(class, 'no share known')
ORDER BY recurrence DESC, definition, class
