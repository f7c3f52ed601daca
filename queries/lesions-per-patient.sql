-- question: How many lesions does a plan treat?
-- tables:   plans
-- units:    counts
-- caution:  Lesions of one patient are not independent; statistics must respect that.
SELECT n_targets AS targets, COUNT(*) AS plans, COUNT(DISTINCT patient_id) AS patients
FROM plans
WHERE in_study
GROUP BY n_targets
ORDER BY targets NULLS LAST
